//! Where readings come from: a broker, the door, and the instruments on the board's own buses.
//!
//! Every source does three things and no more: it hears, it turns what it heard into
//! [`Heard`](crate::reading::Heard) in canonical units, and it hands that to the keeper with a way to
//! acknowledge it. Grading, dating and storing are the keeper's. A source that cannot hear says so
//! ([`Event::Away`](crate::keeper::event::Event::Away)) once at each change, and goes on trying.
//!
//! | module | what |
//! | --- | --- |
//! | [`topic`] | MQTT topics and filters |
//! | [`stamp`] | times inside a message |
//! | [`payload`] | a topic's rule, and what a message says by it |
//! | [`pause`] | how long to wait before trying again |
//! | [`mqtt`] | a broker elsewhere |
//! | [`door`] | probes that publish straight to the board |
//! | [`bus`] | instruments on I2C |
//! | [`warnings`] | public warnings, from an address or a topic |
//! | [`board`] | the board as a probe of itself |

pub mod board;
pub mod bus;
mod cadence;
pub mod door;
mod flood;
mod message;
pub mod mqtt;
mod numbers;
pub mod pause;
pub mod payload;
pub mod stamp;
mod told;
pub mod topic;
pub mod warnings;

/// How the broker is called in what is said of it.
pub const BROKER: &str = "broker";

/// The line that a source told away is or hangs on: "/dev/i2c-1" of "post on /dev/i2c-1".
pub fn line(source: &str) -> &str {
    source.split_once(" on ").map_or(source, |(_, line)| line)
}

/// Whether a source told away is this one probe's.
pub fn is_of(source: &str, probe: &str) -> bool {
    source.strip_prefix(probe).is_some_and(|rest| rest.starts_with(" on "))
}

/// Whether what is told away brings readings: the broker, or an instrument on a bus; couriers and copies do not.
pub fn brings_readings(source: &str) -> bool {
    source == BROKER || source.contains(" on ")
}
