//! The HTTP listener: the page, metrics, health, readiness and the snapshot, for reading only.
//!
//! Nobody can hold the daemon from here: the number of connections, the time for a request's head, its size and the
//! life of a connection are bounded, and every answer is made from the last snapshot without asking the engine.
//! Pages of strangers cannot read it through a browser: a request must name this machine (by address, as `localhost`
//! or by its own host name), which defeats names that are pointed at it from outside.

use std::{net::IpAddr, sync::Arc, time::Duration};

use axum::{
    Extension, Router,
    body::Body,
    extract::{Path, Request, State},
    http::{HeaderName, HeaderValue, Method, StatusCode, Uri, header},
    middleware::{self, Next},
    response::{IntoResponse, Response},
    routing::get,
};
use hyper::{
    body::Incoming,
    server::conn::http1,
    service::{Service, service_fn},
};
use hyper_util::{
    rt::{TokioIo, TokioTimer},
    service::TowerToHyperService,
};
use prometheus::{core::Collector, process_collector::ProcessCollector};
use tokio::{
    net::{TcpListener, TcpStream},
    sync::{OwnedSemaphorePermit, Semaphore, watch},
    task::{JoinSet, yield_now},
    time::{sleep, timeout},
};

use crate::{
    engine::Snapshot,
    units::UnitSystem,
    view::{
        exposition,
        page::{self, View},
    },
    wire::document::document,
};

mod events;

use events::{Ending, Events};

/// Connections at one time; more wait in the listener's queue.
const MOST_CONNECTIONS: usize = 32;
/// Time for the head of a request, and for the next one on an idle connection.
const HEAD_WITHIN: Duration = Duration::from_secs(5);
/// Largest head of a request, in bytes.
const LARGEST_HEAD: usize = 16 * 1_024;
/// Life of a connection; a busy client opens another.
const LIFE: Duration = Duration::from_secs(20);
/// Open pages that are told of changes at one time; the others ask by themselves. At least half of the connections
/// stay free for everything else.
const MOST_LISTENERS: usize = 16;
/// Time for the answer in flight when a connection's life ends, or the daemon stops.
const GRACE: Duration = Duration::from_secs(2);
/// Pause after the system refused to accept, as it does when file handles run out.
const AFTER_REFUSAL: Duration = Duration::from_millis(200);

/// What a page may load and do: its own style and script, and asking this daemon again. Nothing from elsewhere, no forms.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; base-uri 'none'; \
                      form-action 'none'; frame-ancestors 'none'";

/// Headers of every answer.
const SECURITY: [(HeaderName, HeaderValue); 6] = [
    (header::X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff")),
    (header::X_FRAME_OPTIONS, HeaderValue::from_static("DENY")),
    (header::REFERRER_POLICY, HeaderValue::from_static("no-referrer")),
    (header::CONTENT_SECURITY_POLICY, HeaderValue::from_static(POLICY)),
    (HeaderName::from_static("cross-origin-resource-policy"), HeaderValue::from_static("same-origin")),
    (header::CACHE_CONTROL, HeaderValue::from_static("no-store")),
];

const NOT_FOUND: &str = "There is nothing here; the page at / shows what there is.\n";

struct Shared {
    snapshots: watch::Receiver<Arc<Snapshot>>,
    process: ProcessCollector,
    names: Vec<String>,
    listeners: Arc<Semaphore>,
}

/// Serves until `shutdown`, then lets the answers in flight finish for at most two seconds.
pub async fn serve(
    listener: TcpListener,
    snapshots: watch::Receiver<Arc<Snapshot>>,
    shutdown: impl Future<Output = ()>,
) {
    let router = router(snapshots, own_names());
    let permits = Arc::new(Semaphore::new(MOST_CONNECTIONS));
    let (closing, closed) = watch::channel(());
    let mut connections = JoinSet::new();
    tokio::pin!(shutdown);
    loop {
        let (stream, permit) = tokio::select! {
            biased;
            () = &mut shutdown => break,
            accepted = accept(&listener, &permits) => accepted,
            // Finished connections are forgotten here, so that the set does not grow.
            Some(_) = connections.join_next(), if !connections.is_empty() => continue,
        };
        connections.spawn(connection(stream, router.clone(), permit, closed.clone()));
    }
    drop((listener, closing));
    // What has not finished by then is cut when the set is dropped.
    let _ = timeout(GRACE, async { while connections.join_next().await.is_some() {} }).await;
}

/// The names that this machine has in its own network; none where the system does not say.
fn own_names() -> Vec<String> {
    let name = std::fs::read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    let name = name.trim();
    if name.is_empty() { Vec::new() } else { vec![name.to_owned(), format!("{name}.local")] }
}

async fn accept(listener: &TcpListener, permits: &Arc<Semaphore>) -> (TcpStream, OwnedSemaphorePermit) {
    loop {
        if let Ok(permit) = Arc::clone(permits).acquire_owned().await {
            match listener.accept().await {
                Ok((stream, _)) => return (stream, permit),
                Err(error) => tracing::debug!(%error, "A connection could not be accepted."),
            }
        }
        sleep(AFTER_REFUSAL).await;
    }
}

async fn connection(stream: TcpStream, router: Router, _permit: OwnedSemaphorePermit, mut closed: watch::Receiver<()>) {
    let (living, ending) = watch::channel(());
    let service = TowerToHyperService::new(router);
    let service = service_fn(move |mut request: Request<Incoming>| {
        request.extensions_mut().insert(Ending(ending.clone()));
        service.call(request)
    });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_WITHIN)
        .max_buf_size(LARGEST_HEAD)
        .serve_connection(TokioIo::new(stream), service);
    tokio::pin!(connection);
    tokio::select! {
        _ = connection.as_mut() => return,
        () = sleep(LIFE) => {}
        // The sender is dropped when the daemon stops.
        _ = closed.changed() => {}
    }
    connection.as_mut().graceful_shutdown();
    drop(living);
    // An error of a connection concerns only the client that caused it.
    let _ = timeout(GRACE, connection).await;
}

fn router(snapshots: watch::Receiver<Arc<Snapshot>>, names: Vec<String>) -> Router {
    let listeners = Arc::new(Semaphore::new(MOST_LISTENERS));
    let shared = Arc::new(Shared { snapshots, process: ProcessCollector::for_self(), names, listeners });
    Router::new()
        .route("/", get(farm_page))
        .route("/rooms/{name}", get(room_page))
        .route("/page.css", get(|| async { ([(header::CONTENT_TYPE, "text/css; charset=utf-8")], page::STYLE) }))
        .route("/page.js", get(|| async { ([(header::CONTENT_TYPE, "text/javascript; charset=utf-8")], page::SCRIPT) }))
        .route("/events", get(events))
        .route("/metrics", get(metrics))
        .route("/healthz", get(health))
        .route("/readyz", get(readiness))
        .route("/snapshot.json", get(snapshot_json))
        .fallback(|| async { (StatusCode::NOT_FOUND, NOT_FOUND) })
        .layer(middleware::from_fn_with_state(Arc::clone(&shared), guard))
        .with_state(shared)
}

/// Refuses what is no plain reading request to this machine, and puts [`SECURITY`] on every answer.
async fn guard(State(shared): State<Arc<Shared>>, request: Request, next: Next) -> Response {
    let mut response = match refusal(&request, &shared.names) {
        Some(refusal) => refusal,
        None => next.run(request).await,
    };
    response.headers_mut().extend(SECURITY);
    response
}

fn refusal(request: &Request, names: &[String]) -> Option<Response> {
    if !matches!(*request.method(), Method::GET | Method::HEAD) {
        let sentence = "Only GET and HEAD are answered: everything here is for reading.\n";
        return Some((StatusCode::METHOD_NOT_ALLOWED, [(header::ALLOW, "GET, HEAD")], sentence).into_response());
    }
    let mut hosts = request.headers().get_all(header::HOST).iter();
    let (Some(host), None) = (hosts.next(), hosts.next()) else {
        return Some((StatusCode::BAD_REQUEST, "The request must name one host.\n").into_response());
    };
    let host = host.to_str().unwrap_or_default();
    let authority = request.uri().authority().map(|authority| authority.as_str());
    if is_ours(host, names) && authority.is_none_or(|authority| is_ours(authority, names)) {
        return None;
    }
    let sentence = "This daemon is not known by that host name: ask it by its address, or by its own name.\n";
    Some((StatusCode::MISDIRECTED_REQUEST, sentence).into_response())
}

/// Whether `host`, with or without a port, is an address, the loopback name or one of `names`.
///
/// Any address is accepted: only names can be pointed here by a stranger.
fn is_ours(host: &str, names: &[String]) -> bool {
    let name = match host.strip_prefix('[').and_then(|rest| rest.split_once(']')) {
        Some((address, _)) => address,
        None => host.rsplit_once(':').map_or(host, |(name, _)| name),
    };
    let name = name.strip_suffix('.').unwrap_or(name);
    name.parse::<IpAddr>().is_ok()
        || name.eq_ignore_ascii_case("localhost")
        || names.iter().any(|ours| ours.eq_ignore_ascii_case(name))
}

async fn farm_page(State(shared): State<Arc<Shared>>, uri: Uri) -> Response {
    html(&shared, View { room: None, units: units(&uri) }).await
}

async fn room_page(State(shared): State<Arc<Shared>>, Path(name): Path<String>, uri: Uri) -> Response {
    let room = shared.snapshots.borrow().farm.rooms.iter().position(|room| room.name.as_str() == name);
    match room {
        Some(_) => html(&shared, View { room, units: units(&uri) }).await,
        None => (StatusCode::NOT_FOUND, NOT_FOUND).into_response(),
    }
}

async fn html(shared: &Shared, view: View) -> Response {
    // A client that asks many times at once stands in line behind the engine's work each time.
    yield_now().await;
    let snapshot = Arc::clone(&shared.snapshots.borrow());
    ([(header::CONTENT_TYPE, "text/html; charset=utf-8")], page::page(&snapshot, view)).into_response()
}

/// The units that the address asks for; anything that is no unit system asks for the farm's own.
fn units(uri: &Uri) -> Option<UnitSystem> {
    uri.query()?.split('&').find_map(|pair| match pair {
        "units=metric" => Some(UnitSystem::Metric),
        "units=us" => Some(UnitSystem::Us),
        _ => None,
    })
}

async fn events(State(shared): State<Arc<Shared>>, Extension(ending): Extension<Ending>) -> Response {
    let Ok(permit) = Arc::clone(&shared.listeners).try_acquire_owned() else {
        let sentence = "Too many pages are open to tell each of changes; load the page again to see what is new.\n";
        return (StatusCode::SERVICE_UNAVAILABLE, sentence).into_response();
    };
    let stream = Events::new(shared.snapshots.clone(), ending, permit);
    ([(header::CONTENT_TYPE, "text/event-stream")], Body::new(stream)).into_response()
}

async fn metrics(State(shared): State<Arc<Shared>>) -> Response {
    let snapshot = Arc::clone(&shared.snapshots.borrow());
    let mut families = exposition::metrics(&snapshot);
    families.extend(shared.process.collect());
    match exposition::text(&families) {
        Ok(text) => ([(header::CONTENT_TYPE, prometheus::TEXT_FORMAT)], text).into_response(),
        Err(error) => {
            tracing::error!(%error, "The metrics could not be written.");
            (StatusCode::INTERNAL_SERVER_ERROR, "The metrics could not be written.\n").into_response()
        }
    }
}

async fn health(State(shared): State<Arc<Shared>>) -> (StatusCode, &'static str) {
    // Only the engine holds the sending end.
    if shared.snapshots.has_changed().is_err() {
        return (StatusCode::SERVICE_UNAVAILABLE, "The engine has stopped.\n");
    }
    (StatusCode::OK, "The engine works.\n")
}

async fn readiness(State(shared): State<Arc<Shared>>) -> (StatusCode, &'static str) {
    let snapshot = Arc::clone(&shared.snapshots.borrow());
    if shared.snapshots.has_changed().is_err() {
        (StatusCode::SERVICE_UNAVAILABLE, "The engine has stopped.\n")
    } else if snapshot.turns == 0 {
        (StatusCode::SERVICE_UNAVAILABLE, "Nothing has been worked out yet.\n")
    } else if !snapshot.site.connected {
        (
            StatusCode::SERVICE_UNAVAILABLE,
            "The broker is not connected: readings do not arrive, advice does not leave.\n",
        )
    } else {
        (StatusCode::OK, "The broker is connected, and values are current.\n")
    }
}

async fn snapshot_json(State(shared): State<Arc<Shared>>) -> Response {
    let snapshot = Arc::clone(&shared.snapshots.borrow());
    ([(header::CONTENT_TYPE, "application/json")], document(&snapshot).to_string()).into_response()
}
