//! How far a client may reach: the public network is told from the house, and names are looked up within those bounds.

use std::future::Future;
use std::io;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};
use std::pin::Pin;
use std::task::{Context, Poll};

use hyper_util::client::legacy::connect::dns::Name;
use tower_service::Service;

/// Why an address is not called.
pub(super) const INSIDE: &str = "the address leads to where we may not call";

/// Where a client may connect to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Reach {
    /// Where the site file's address leads: anywhere by number or as `localhost`; by any other name not to this machine
    /// nor to what is local to its links, for that a name leads there was not meant.
    SiteFile,
    /// Outside only: the address came from a phone.
    Outside,
}

impl Reach {
    /// Whether an address that was written by number may be called.
    pub(super) fn allows(self, address: IpAddr) -> bool {
        self == Self::SiteFile || is_outside(address)
    }

    /// Whether an address may be called that a name was looked up to be.
    fn allows_by_name(self, name: &str, address: IpAddr) -> bool {
        match self {
            Self::SiteFile => name == "localhost" || is_off_this_machine(address),
            Self::Outside => is_outside(address),
        }
    }
}

fn is_off_this_machine(address: IpAddr) -> bool {
    match address.to_canonical() {
        IpAddr::V4(it) => !(it.is_loopback() || it.is_link_local() || it.is_unspecified()),
        IpAddr::V6(it) => !(it.is_loopback() || it.is_unicast_link_local() || it.is_unspecified()),
    }
}

/// Looks names up, and leaves out what may not be reached: so a name cannot lead elsewhere between a check and the
/// connection.
#[derive(Clone, Copy, Debug)]
pub(super) struct Names(pub(super) Reach);

impl Service<Name> for Names {
    type Response = std::vec::IntoIter<SocketAddr>;
    type Error = io::Error;
    type Future = Pin<Box<dyn Future<Output = io::Result<Self::Response>> + Send>>;

    fn poll_ready(&mut self, _: &mut Context<'_>) -> Poll<io::Result<()>> {
        Poll::Ready(Ok(()))
    }

    fn call(&mut self, name: Name) -> Self::Future {
        let reach = self.0;
        Box::pin(async move {
            let mut found: Vec<SocketAddr> = tokio::net::lookup_host((name.as_str(), 0)).await?.collect();
            found.retain(|address| reach.allows_by_name(name.as_str(), address.ip()));
            if found.is_empty() { Err(io::Error::other(INSIDE)) } else { Ok(found.into_iter()) }
        })
    }
}

/// Whether an address is one of the public network (the registries of RFC 6890: what is private, local to a link or to
/// the machine, shared, reserved, for many receivers or for examples is not).
pub fn is_outside(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(address) => is_outside_v4(address),
        IpAddr::V6(address) => is_outside_v6(address),
    }
}

fn is_outside_v4(address: Ipv4Addr) -> bool {
    let [a, b, c, _] = address.octets();
    // "This network", shared between carriers, protocol assignments, relay, benchmarks, many receivers and reserved.
    let special = a == 0
        || (a == 100 && b & 0xc0 == 64)
        || ([a, b, c] == [192, 0, 0])
        || ([a, b, c] == [192, 88, 99])
        || (a == 198 && b & 0xfe == 18)
        || a >= 224;
    !(special
        || address.is_private()
        || address.is_loopback()
        || address.is_link_local()
        || address.is_documentation())
}

fn is_outside_v6(address: Ipv6Addr) -> bool {
    let pieces = address.segments();
    let last_four = || {
        let [.., a, b, c, d] = address.octets();
        Ipv4Addr::new(a, b, c, d)
    };
    match pieces {
        // Written for an address of the older kind (RFC 4291, 2.5.5.2) or translated to one (RFC 6052, 2.1).
        [0, 0, 0, 0, 0, 0xffff, ..] | [0x64, 0xff9b, 0, 0, 0, 0, ..] => is_outside_v4(last_four()),
        // Tunnels that hold such an address elsewhere, protocol assignments, and examples.
        [0x2001, ..=0x1ff | 0xdb8, ..] | [0x2002 | 0x3fff, ..] => false,
        // Global unicast (RFC 4291, 2.4, as assigned).
        _ => pieces[0] & 0xe000 == 0x2000,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn t13_only_a_plain_word_of_the_site_file_leads_to_this_machine() {
        let (here, link) =
            (["127.0.0.1", "::1", "::ffff:127.0.0.1", "0.0.0.0"], ["169.254.169.254", "fe80::1"]);
        for address in here.iter().chain(&link).map(|it| it.parse().unwrap()) {
            assert!(Reach::SiteFile.allows(address), "{address}");
            assert!(Reach::SiteFile.allows_by_name("localhost", address), "{address}");
            for name in ["hook.garden.example", "hook.localhost", "localhost.", "shed"] {
                assert!(!Reach::SiteFile.allows_by_name(name, address), "{name} {address}");
            }
            assert!(!Reach::Outside.allows(address) && !Reach::Outside.allows_by_name("localhost", address));
        }
        let shed = "192.168.1.9".parse().unwrap();
        assert!(Reach::SiteFile.allows_by_name("shed", shed) && Reach::SiteFile.allows(shed));
    }

    #[test]
    fn the_public_network_is_told_from_the_house() {
        // RFC 6890, 2.2.2 and 2.2.3, with the rows added to its registries since.
        let inside = [
            "0.0.0.0",
            "10.0.0.1",
            "100.64.0.1",
            "100.127.255.255",
            "127.0.0.1",
            "169.254.169.254",
            "172.16.0.1",
            "172.31.255.255",
            "192.0.0.8",
            "192.0.2.1",
            "192.88.99.1",
            "192.168.1.1",
            "198.18.0.1",
            "198.19.255.255",
            "198.51.100.1",
            "203.0.113.1",
            "224.0.0.1",
            "240.0.0.1",
            "255.255.255.255",
            "::",
            "::1",
            "::ffff:192.168.1.1",
            "64:ff9b::10.0.0.1",
            "64:ff9b:1::1",
            "100::1",
            "2001::1",
            "2001:db8::1",
            "2002:a00:1::1",
            "3fff::1",
            "fc00::1",
            "fd12::1",
            "fe80::1",
            "ff02::1",
        ];
        for address in inside {
            assert!(!is_outside(address.parse().unwrap()), "{address}");
        }
        let outside = [
            "1.1.1.1",
            "100.63.255.255",
            "100.128.0.1",
            "172.15.0.1",
            "172.32.0.1",
            "198.20.0.1",
            "223.255.255.255",
            "2001:4860::1",
            "2a00::1",
            "64:ff9b::8.8.8.8",
            "::ffff:8.8.8.8",
        ];
        for address in outside {
            assert!(is_outside(address.parse().unwrap()), "{address}");
        }
    }
}
