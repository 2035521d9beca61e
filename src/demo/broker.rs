//! An embedded MQTT 5 broker on a thread of its own.
//!
//! The broker's library cannot report a port that the system chose, so a free one is looked for first, and the next
//! one is tried where another program was faster. It stops when the value is dropped.

use std::{
    io,
    net::SocketAddr,
    thread::{self, JoinHandle},
    time::Duration,
};

use rumqttd::{ConnectionSettings, LinkType, Router, RouterConfig, Server, ServerSettings, protocol::v5::V5};
use tokio::{
    net::{TcpListener, TcpStream},
    sync::oneshot,
    time::sleep,
};

/// Tried in turn where the port was left to the demo: away from 1883, where a real broker may stand.
const PORTS: std::ops::Range<u16> = 18_830..18_870;

/// How often and how long the broker is asked whether it listens.
const ASKED: u32 = 400;
const ASKED_EVERY: Duration = Duration::from_millis(5);

/// The running broker.
#[derive(Debug)]
pub struct Broker {
    address: SocketAddr,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

/// Why there is no broker.
#[derive(Debug, thiserror::Error)]
pub enum BrokerError {
    /// The address is taken, or not ours.
    #[error("cannot listen for MQTT on {address}: {source}; choose another with --mqtt-listen")]
    Listen {
        /// What was asked for.
        address: SocketAddr,
        /// What the system said.
        source: io::Error,
    },
    /// Every port of the demo's own is taken.
    #[error("no free port between {first} and {last}; choose one with --mqtt-listen")]
    NoFreePort {
        /// First port that was tried.
        first: u16,
        /// Last port that was tried.
        last: u16,
    },
    /// No thread could be had.
    #[error("cannot start the broker's thread: {0}")]
    Thread(io::Error),
}

impl Broker {
    /// Starts a broker on `listen`; with port 0, on the first free port of the demo's own.
    ///
    /// # Errors
    /// See [`BrokerError`].
    pub async fn start(listen: SocketAddr) -> Result<Self, BrokerError> {
        if listen.port() != 0 {
            return match Self::try_start(listen).await? {
                Ok(broker) => Ok(broker),
                Err(source) => Err(BrokerError::Listen { address: listen, source }),
            };
        }
        for port in PORTS {
            if let Ok(broker) = Self::try_start(SocketAddr::new(listen.ip(), port)).await? {
                return Ok(broker);
            }
        }
        Err(BrokerError::NoFreePort { first: PORTS.start, last: PORTS.end - 1 })
    }

    /// Where it listens.
    pub const fn address(&self) -> SocketAddr {
        self.address
    }

    async fn try_start(address: SocketAddr) -> Result<Result<Self, io::Error>, BrokerError> {
        match TcpListener::bind(address).await {
            Ok(free) => drop(free),
            Err(taken) => return Ok(Err(taken)),
        }
        let (stop, stopped) = oneshot::channel();
        let thread = thread::Builder::new()
            .name("demo-broker".to_owned())
            .spawn(move || serve(address, stopped))
            .map_err(BrokerError::Thread)?;
        let broker = Self { address, stop: Some(stop), thread: Some(thread) };
        for _ in 0..ASKED {
            let answers = TcpStream::connect(address).await.is_ok();
            sleep(ASKED_EVERY).await;
            // Asked in this order: what answered may be another program that was faster.
            if broker.thread.as_ref().is_some_and(JoinHandle::is_finished) {
                break;
            }
            if answers {
                return Ok(Ok(broker));
            }
        }
        Ok(Err(io::ErrorKind::AddrInUse.into()))
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        drop(self.stop.take());
        if let Some(thread) = self.thread.take() {
            // A panic there has been printed already, and nothing is left to save.
            let _ = thread.join();
        }
    }
}

fn serve(address: SocketAddr, stopped: oneshot::Receiver<()>) {
    let Ok(runtime) = tokio::runtime::Builder::new_current_thread().enable_all().build() else {
        // The caller sees the thread end, and reports that nothing listens.
        return;
    };
    runtime.block_on(async {
        let router = Router::new(
            0,
            RouterConfig {
                max_connections: 64,
                max_outgoing_packet_count: 200,
                max_segment_size: 4 * 1024 * 1024,
                max_segment_count: 4,
                ..RouterConfig::default()
            },
        )
        .spawn();
        let settings = ServerSettings {
            name: "demo".to_owned(),
            listen: address,
            tls: None,
            next_connection_delay_ms: 1,
            connections: ConnectionSettings {
                connection_timeout_ms: 10_000,
                max_payload_size: 256 * 1024,
                max_inflight_count: 100,
                auth: None,
                external_auth: None,
                dynamic_filters: true,
            },
        };
        let mut server = Server::new(settings, router, V5);
        tokio::select! {
            _ = server.start(LinkType::Remote) => {}
            _ = stopped => {}
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn loopback(port: u16) -> SocketAddr {
        SocketAddr::from(([127, 0, 0, 1], port))
    }

    #[tokio::test]
    async fn two_brokers_without_a_port_get_different_ones_and_a_taken_port_is_refused() {
        let first = Broker::start(loopback(0)).await.unwrap();
        let second = Broker::start(loopback(0)).await.unwrap();
        assert_ne!(first.address(), second.address());
        let refused = Broker::start(first.address()).await;
        assert!(matches!(refused, Err(BrokerError::Listen { .. })), "{refused:?}");
    }

    #[tokio::test]
    async fn a_dropped_broker_frees_its_port() {
        let address = std::net::TcpListener::bind(loopback(0)).unwrap().local_addr().unwrap();
        let broker = Broker::start(address).await.unwrap();
        drop(broker);
        assert_eq!(Broker::start(address).await.unwrap().address(), address);
    }
}
