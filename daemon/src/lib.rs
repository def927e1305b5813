//! Glasshour: keeps every crop in a small house alive and productive through heat and drought.
//!
//! A library with a thin `main`, so that tests and benches reach every part. DEVELOPERS.md has the map.

pub mod almanac;
pub mod calendar;
pub mod calendar_out;
pub mod cli;
pub mod clock;
pub mod couriers;
pub mod demo;
pub mod entry;
pub mod figure_words;
pub mod glance;
pub mod ground;
pub mod http_out;
pub mod keeper;
pub mod ledger;
pub mod minders;
pub mod mirror;
pub mod outlook;
pub mod outward;
pub mod page;
pub mod reading;
pub mod readings_out;
pub mod record;
pub mod rows;
pub mod service;
pub mod site;
pub mod sources;
pub mod supervise;
pub mod warnings;
pub mod whole_file;
