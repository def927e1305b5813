//! What the whole-program tests share.

pub mod servers;
pub mod stand_in;
