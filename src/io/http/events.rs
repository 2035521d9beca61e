//! Server-sent events: tell an open page that something has changed. The page then asks for itself anew, so that
//! nothing has to be kept for it here.

use std::{
    convert::Infallible,
    pin::Pin,
    sync::Arc,
    task::{Context, Poll},
    time::Duration,
};

use hyper::body::{Body, Bytes, Frame};
use tokio::{
    sync::{OwnedSemaphorePermit, watch},
    time::{sleep, timeout},
};

use crate::engine::Snapshot;

/// A farm's readings may come many times a second; a page is not told more often than this.
const SPACING: Duration = Duration::from_secs(2);
/// A page that hears nothing for longer has lost the daemon.
const BEAT: Duration = Duration::from_secs(5);

type Step = Pin<Box<dyn Future<Output = Option<(Bytes, Listening)>> + Send>>;

/// Closes when a connection's life ends, or the daemon stops.
#[derive(Debug, Clone)]
pub(super) struct Ending(pub watch::Receiver<()>);

/// The stream to one page.
pub(super) struct Events(Step);

struct Listening {
    snapshots: watch::Receiver<Arc<Snapshot>>,
    /// Ends the stream in good order; the page asks for the next one.
    ending: Ending,
    _permit: OwnedSemaphorePermit,
}

impl Events {
    /// Speaks until its connection's `ending`.
    pub fn new(snapshots: watch::Receiver<Arc<Snapshot>>, ending: Ending, permit: OwnedSemaphorePermit) -> Self {
        let mut listening = Listening { snapshots, ending, _permit: permit };
        listening.snapshots.mark_unchanged();
        Self(Box::pin(async move { Some((Bytes::from_static(b"retry: 1000\nevent: changed\ndata:\n\n"), listening)) }))
    }
}

impl Listening {
    /// The next event; `None` when the connection's life is over, or the engine is gone.
    async fn next(mut self) -> Option<(Bytes, Self)> {
        let event = tokio::select! {
            _ = self.ending.0.changed() => return None,
            event = heard(&mut self.snapshots) => event?,
        };
        Some((Bytes::from_static(event), self))
    }
}

/// What there is to say after the usual pause.
async fn heard(snapshots: &mut watch::Receiver<Arc<Snapshot>>) -> Option<&'static [u8]> {
    sleep(SPACING).await;
    match timeout(BEAT - SPACING, snapshots.changed()).await {
        Ok(Ok(())) => Some(b"event: changed\ndata:\n\n"),
        Ok(Err(_)) => None,
        Err(_) => Some(b"event: alive\ndata:\n\n"),
    }
}

impl Body for Events {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        let Poll::Ready(step) = self.0.as_mut().poll(context) else { return Poll::Pending };
        let Some((bytes, listening)) = step else {
            // A body may be asked again after its end.
            self.0 = Box::pin(std::future::ready(None));
            return Poll::Ready(None);
        };
        self.0 = Box::pin(listening.next());
        Poll::Ready(Some(Ok(Frame::data(bytes))))
    }
}
