//! What the broker's answers mean, in words: the client only logs them.

use rumqttc::v5::mqttbytes::v5::{PubAckReason, SubscribeReasonCode};

/// Whether a published message was taken, or why not.
pub(super) const fn publish_answer(reason: PubAckReason) -> Result<(), &'static str> {
    match reason {
        PubAckReason::Success | PubAckReason::NoMatchingSubscribers => Ok(()),
        PubAckReason::UnspecifiedError => Err("unspecified error"),
        PubAckReason::ImplementationSpecificError => Err("implementation-specific error"),
        PubAckReason::NotAuthorized => Err("not authorized"),
        PubAckReason::TopicNameInvalid => Err("topic name invalid"),
        PubAckReason::PacketIdentifierInUse => Err("packet identifier in use"),
        PubAckReason::QuotaExceeded => Err("quota exceeded"),
        PubAckReason::PayloadFormatInvalid => Err("payload format invalid"),
    }
}

/// Whether a subscription stands, or why not.
pub(super) const fn subscribe_answer(code: SubscribeReasonCode) -> Result<(), &'static str> {
    match code {
        SubscribeReasonCode::Success(_) => Ok(()),
        SubscribeReasonCode::Failure | SubscribeReasonCode::Unspecified => Err("unspecified error"),
        SubscribeReasonCode::ImplementationSpecific => Err("implementation-specific error"),
        SubscribeReasonCode::NotAuthorized => Err("not authorized"),
        SubscribeReasonCode::TopicFilterInvalid => Err("topic filter invalid"),
        SubscribeReasonCode::PkidInUse => Err("packet identifier in use"),
        SubscribeReasonCode::QuotaExceeded => Err("quota exceeded"),
        SubscribeReasonCode::SharedSubscriptionsNotSupported => Err("shared subscriptions not supported"),
        SubscribeReasonCode::SubscriptionIdNotSupported => Err("subscription identifiers not supported"),
        SubscribeReasonCode::WildcardSubscriptionsNotSupported => Err("wildcards not supported"),
    }
}
