//! Whole seasons under the real engine, in simulated rooms that are not the model: what following the advice is worth, and
//! whether warnings come in time.

mod live;
mod month;
mod place;
mod warnings;
