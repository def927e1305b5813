//! The way to an address, opened and nothing said on it: whether a call would come through, without making it.

use std::future::poll_fn;

use axum::http::Uri;
use tower_service::Service as _;

use super::{Client, INSIDE, Trouble, causes, untimely};

impl Client {
    /// Opens a connection to an address as a call would, certificate and all, and closes it.
    ///
    /// # Errors
    ///
    /// Why a call would not come through, in words.
    pub async fn open(&self, uri: Uri) -> Result<(), String> {
        let host = uri.host().unwrap_or_default().trim_matches(['[', ']']);
        if host.parse().is_ok_and(|address| !self.reach.allows(address)) {
            return Err(INSIDE.to_owned());
        }
        let mut connector = self.connector.clone();
        let opened = async {
            poll_fn(|context| connector.poll_ready(context)).await?;
            connector.call(uri).await.map(drop)
        };
        match tokio::time::timeout(self.limit, opened).await {
            Ok(Ok(())) => Ok(()),
            Ok(Err(error)) => {
                let why = untimely(error.as_ref()).unwrap_or_else(|| causes(error.as_ref()));
                Err(Trouble::NotReached(why).to_string())
            }
            Err(_) => Err(format!("no answer within {} s", self.limit.as_secs())),
        }
    }
}
