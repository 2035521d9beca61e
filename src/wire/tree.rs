//! The snapshot as a tree of retained topics.

use std::{collections::BTreeMap, time::Duration};

/// Every retained topic that should stand at the broker, without the devices' own `$state` and `$description`. What is
/// not in the tree should not stand there.
pub type Tree = BTreeMap<String, Entry>;

/// What should stand on a topic.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The payload, never empty.
    pub payload: String,
    /// Until when it may be believed, as [`Now::elapsed`](crate::model::Now::elapsed); `None` never expires.
    pub lives_until: Option<Duration>,
    /// What has to differ for the entry to count as changed; `None` is the payload itself. A decision moves its
    /// `valid-until` in every turn, and is still the same decision.
    pub essence: Option<String>,
    /// Whether the payload is JSON.
    pub json: bool,
}

impl Entry {
    /// A text that is believed until `lives_until`.
    pub fn text(payload: impl Into<String>, lives_until: Option<Duration>) -> Self {
        Self { payload: payload.into(), lives_until, essence: None, json: false }
    }

    /// Whether both say the same.
    pub fn says_the_same_as(&self, other: &Self) -> bool {
        match (&self.essence, &other.essence) {
            (Some(mine), Some(other)) => mine == other,
            _ => self.payload == other.payload,
        }
    }
}
