//! Real servers for tests, each in a folder of its own, on a port of its own, gone with the test.

pub mod broker;
pub mod faketime;
pub mod hook;
pub mod http;
pub mod metrics;
pub mod process;
pub mod push;
pub mod python;
pub mod series;
pub mod smtp;
