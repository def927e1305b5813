//! Web push.

pub mod base64url;
pub mod encrypt;
pub mod own_key;
pub mod phones;
pub mod vapid;
