//! Forecasts: what a service's body becomes, and what each fault of the service becomes.

mod body;
mod client;
mod faults;
mod fetch;
mod gridpoint;
mod open_meteo;
mod random;
