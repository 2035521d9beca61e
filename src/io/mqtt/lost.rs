//! Why there is no connection to the broker, in words that say what to do.

use rumqttc::v5::{
    ConnectionError, StateError,
    mqttbytes::{
        Error as Malformed,
        v5::{ConnectReturnCode, DisconnectReasonCode},
    },
};

use super::{FLAPS, KEEP_ALIVE, POLL_LIMIT, link, link::LinkError};
use crate::{
    config::{Broker, Secret},
    io::secret::SecretError,
};

/// Why a connection ended or never was.
#[derive(Debug, thiserror::Error)]
pub(crate) enum Lost {
    #[error(transparent)]
    Password(#[from] SecretError),
    #[error("{0} is no text, as a password for a broker has to be")]
    PasswordNotText(Secret),
    #[error("the broker refused user or password: check `broker.user`, and where its password is kept")]
    Credentials,
    #[error(
        "another client took over the identifier `{0}`: give each daemon its own `broker.client-id`, or stop the other one"
    )]
    TakenOver(String),
    #[error(
        "the broker has ended {FLAPS} connections in a row before they were {seconds} s old; if another client uses the \
         identifier `{0}`, give each daemon its own `broker.client-id`",
        seconds = KEEP_ALIVE.as_secs()
    )]
    Flapping(String),
    #[error("the broker cannot keep retained messages, which this program cannot do without: use another broker")]
    NoRetain,
    #[error("the broker speaks no MQTT 5, which this program cannot do without: update it, or use another one")]
    OldProtocol,
    #[error(
        "who listens there ended the connection without an answer in MQTT 5: it may be no broker, or one that speaks only \
         an older MQTT, and this program needs MQTT 5"
    )]
    NoAnswer,
    #[error("who listens there gives no answer in MQTT 5: it may be no broker, or one that speaks only an older MQTT")]
    Silent,
    #[error("what answers there is no MQTT 5 broker")]
    NoBroker,
    #[error(
        "the broker sent a message of {bytes} bytes, though it was told that {most} are the most: look for a publisher \
         of such messages on a configured topic"
    )]
    TooLarge { bytes: usize, most: u32 },
    #[error("the broker allows no acknowledged messages (QoS 1), which this program cannot do without")]
    NoAcknowledgement,
    #[error("the connection is half-open: nothing could be sent for {} s", POLL_LIMIT.as_secs())]
    Stuck,
    #[error("the broker answers pings, but acknowledges nothing")]
    Unacknowledged,
    #[error("packet numbers got out of step with the broker")]
    OutOfStep,
    #[error(transparent)]
    Link(#[from] LinkError),
    #[error(transparent)]
    Client(Box<ConnectionError>),
}

impl Lost {
    /// Whether coming back soon would do harm, or no good.
    pub(super) const fn asks_for_patience(&self) -> bool {
        matches!(
            self,
            Self::TakenOver(_)
                | Self::Flapping(_)
                | Self::NoRetain
                | Self::NoAcknowledgement
                | Self::OldProtocol
                | Self::TooLarge { .. }
        )
    }
}

/// What an error of the client means. `connected`: whether the broker had accepted the connection before.
pub(super) fn meaning(error: ConnectionError, broker: &Broker, connected: bool, clock_trusted: bool) -> Lost {
    use ConnectReturnCode as Refused;
    use DisconnectReasonCode as Ended;
    if let Some(failure) = link::failure(&error, &broker.link, clock_trusted) {
        return Lost::Link(failure);
    }
    match error {
        ConnectionError::ConnectionRefused(Refused::BadUserNamePassword | Refused::NotAuthorized) => Lost::Credentials,
        ConnectionError::ConnectionRefused(Refused::RetainNotSupported) => Lost::NoRetain,
        ConnectionError::ConnectionRefused(Refused::QoSNotSupported) => Lost::NoAcknowledgement,
        ConnectionError::ConnectionRefused(Refused::UnsupportedProtocolVersion) => Lost::OldProtocol,
        ConnectionError::MqttState(StateError::ServerDisconnect { reason_code, reason_string }) => match reason_code {
            Ended::SessionTakenOver => Lost::TakenOver(broker.client_id.clone()),
            Ended::RetainNotSupported => Lost::NoRetain,
            Ended::QoSNotSupported => Lost::NoAcknowledgement,
            reason_code => {
                let error = StateError::ServerDisconnect { reason_code, reason_string };
                Lost::Client(Box::new(ConnectionError::MqttState(error)))
            }
        },
        ConnectionError::MqttState(StateError::Deserialization(Malformed::PayloadSizeLimitExceeded {
            pkt_size,
            max,
        })) if connected => Lost::TooLarge { bytes: pkt_size, most: max },
        // The answer of MQTT 3.1.1 to a version that it does not know: return code 1.
        ConnectionError::MqttState(StateError::Deserialization(Malformed::InvalidConnectReturnCode(1))) => {
            Lost::OldProtocol
        }
        ConnectionError::MqttState(StateError::ConnectionAborted) if !connected => Lost::NoAnswer,
        ConnectionError::MqttState(StateError::Deserialization(Malformed::Io(_))) if !connected => Lost::NoAnswer,
        ConnectionError::Timeout(_) if !connected => Lost::Silent,
        ConnectionError::MqttState(StateError::Deserialization(_)) | ConnectionError::NotConnAck(_) if !connected => {
            Lost::NoBroker
        }
        other => Lost::Client(Box::new(other)),
    }
}
