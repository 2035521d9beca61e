//! Processor time in place of the clock on the wall: what else runs on the machine does not count.

use std::time::Duration;

use criterion::measurement::{Measurement, ValueFormatter, WallTime};
use rustix::time::{ClockId, clock_gettime};

/// Time that this thread was given by a processor.
pub struct ProcessorTime;

/// Criterion with it.
pub type Criterion = criterion::Criterion<ProcessorTime>;

impl ProcessorTime {
    #[expect(clippy::disallowed_methods, reason = "a benchmark measures time")]
    fn now() -> Duration {
        Duration::try_from(clock_gettime(ClockId::ThreadCPUTime)).unwrap_or_default()
    }
}

impl Measurement for ProcessorTime {
    type Intermediate = Duration;
    type Value = Duration;

    fn start(&self) -> Duration {
        Self::now()
    }

    fn end(&self, start: Duration) -> Duration {
        Self::now().saturating_sub(start)
    }

    fn add(&self, a: &Duration, b: &Duration) -> Duration {
        *a + *b
    }

    fn zero(&self) -> Duration {
        Duration::ZERO
    }

    fn to_f64(&self, value: &Duration) -> f64 {
        WallTime.to_f64(value)
    }

    fn formatter(&self) -> &dyn ValueFormatter {
        WallTime.formatter()
    }
}
