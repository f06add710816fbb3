//! Which network addresses lie outside: where the house may send what it has to tell, unless it says otherwise.
//!
//! After the registries of special-purpose addresses (IANA; RFC 6890, of IPv6 only what RFC 4291 calls global unicast).

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

use crate::saying::Saying;
use crate::{say, speaks};

/// Why an address does not lie outside.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotOutside {
    /// No address at all: `0.0.0.0/8`, `::`.
    Unspecified,
    /// This machine.
    Loopback,
    /// A network of somebody's own.
    Private,
    /// The same cable.
    LinkLocal,
    /// Between a carrier and its customers (RFC 6598).
    Shared,
    /// Many at once, or all.
    Multicast,
    /// An IPv4 address dressed as one of IPv6: mapped, or behind a translator or a tunnel.
    HiddenIpv4,
    /// Kept for documents, measurements or the future.
    Reserved,
}

impl NotOutside {
    /// In words.
    pub fn saying(&self) -> Saying {
        match self {
            Self::Unspecified => say!("it is no address of anybody"),
            Self::Loopback => say!("it is this machine itself"),
            Self::Private => say!("it lies in a private network"),
            Self::LinkLocal => say!("it is only valid on the same link"),
            Self::Shared => say!("it is a carrier's shared address"),
            Self::Multicast => say!("it addresses many at once"),
            Self::HiddenIpv4 => say!("it hides an IPv4 address in one of IPv6"),
            Self::Reserved => say!("it is reserved and leads nowhere"),
        }
    }
}

speaks!(NotOutside);

impl NotOutside {
    /// Whether nobody can be meant by it, whatever the house allows.
    pub const fn is_nobody(self) -> bool {
        matches!(self, Self::Unspecified | Self::Multicast)
    }
}

/// Refuses an address that does not lie outside.
///
/// # Errors
/// Which sort of address it is instead.
pub fn check(address: IpAddr) -> Result<(), NotOutside> {
    match address {
        IpAddr::V4(address) => sort_of_v4(address),
        IpAddr::V6(address) => sort_of_v6(address),
    }
    .map_or(Ok(()), Err)
}

fn sort_of_v4(address: Ipv4Addr) -> Option<NotOutside> {
    match address.octets() {
        [0, ..] => Some(NotOutside::Unspecified),
        [127, ..] => Some(NotOutside::Loopback),
        [10, ..] | [172, 16..=31, ..] | [192, 168, ..] => Some(NotOutside::Private),
        [169, 254, ..] => Some(NotOutside::LinkLocal),
        [100, 64..=127, ..] => Some(NotOutside::Shared),
        [224..=239, ..] | [255, 255, 255, 255] => Some(NotOutside::Multicast),
        [192, 0, 0 | 2, _]
        | [198, 51, 100, _]
        | [203, 0, 113, _]
        | [198, 18 | 19, ..]
        | [192, 88, 99, _]
        | [240..=255, ..] => Some(NotOutside::Reserved),
        _ => None,
    }
}

fn sort_of_v6(address: Ipv6Addr) -> Option<NotOutside> {
    match address.segments() {
        [0, 0, 0, 0, 0, 0, 0, 0] => Some(NotOutside::Unspecified),
        [0, 0, 0, 0, 0, 0, 0, 1] => Some(NotOutside::Loopback),
        [0xff00..=0xffff, ..] => Some(NotOutside::Multicast),
        [0xfe80..=0xfeff, ..] => Some(NotOutside::LinkLocal),
        [0xfc00..=0xfdff, ..] => Some(NotOutside::Private),
        // Mapped and compatible, translated (RFC 6052, RFC 8215), tunnelled (6to4, Teredo).
        [0 | 0x2002, ..] | [0x64, 0xff9b, ..] | [0x2001, 0, ..] => Some(NotOutside::HiddenIpv4),
        [0x2001, 0x1..=0x1ff | 0xdb8, ..] | [0x3fff, 0..=0xfff, ..] => Some(NotOutside::Reserved),
        [0x2000..=0x3fff, ..] => None,
        _ => Some(NotOutside::Reserved),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sort(address: &str) -> Option<NotOutside> {
        check(address.parse().expect("an address")).err()
    }

    /// The blocks of IANA's special-purpose registries, their first and last address, and their neighbours outside.
    #[test]
    fn special_addresses_are_not_outside() {
        for (addresses, due) in [
            (["0.0.0.0", "0.255.255.255", "::"].as_slice(), NotOutside::Unspecified),
            (&["127.0.0.1", "127.255.255.255", "::1"], NotOutside::Loopback),
            (
                &["10.0.0.0", "10.255.255.255", "172.16.0.1", "172.31.255.255", "192.168.0.1", "fc00::1", "fdff::1"],
                NotOutside::Private,
            ),
            (&["169.254.0.1", "169.254.169.254", "fe80::1", "febf::1"], NotOutside::LinkLocal),
            (&["100.64.0.0", "100.127.255.255"], NotOutside::Shared),
            (&["224.0.0.1", "239.255.255.255", "255.255.255.255", "ff02::1"], NotOutside::Multicast),
            (
                &[
                    "::ffff:127.0.0.1",
                    "::ffff:8.8.8.8",
                    "::8.8.8.8",
                    "64:ff9b::7f00:1",
                    "64:ff9b:1::1",
                    "2002:7f00:1::",
                    "2001::1",
                ],
                NotOutside::HiddenIpv4,
            ),
            (
                &[
                    "192.0.0.1",
                    "192.0.2.1",
                    "198.51.100.1",
                    "203.0.113.1",
                    "198.18.0.1",
                    "198.19.255.255",
                    "192.88.99.1",
                    "240.0.0.1",
                    "2001:db8::1",
                    "2001:20::1",
                    "3fff::1",
                    "4000::1",
                    "100::1",
                ],
                NotOutside::Reserved,
            ),
        ] {
            for address in addresses {
                assert_eq!(sort(address), Some(due), "{address}");
            }
        }
    }

    #[test]
    fn other_addresses_are_outside() {
        for address in [
            "1.0.0.1",
            "9.255.255.255",
            "11.0.0.0",
            "100.63.255.255",
            "100.128.0.0",
            "126.255.255.255",
            "128.0.0.1",
            "169.253.255.255",
            "172.15.255.255",
            "172.32.0.0",
            "192.167.255.255",
            "192.169.0.0",
            "198.17.255.255",
            "198.20.0.0",
            "223.255.255.255",
            "2001:200::1",
            "2003::1",
            "2600::1",
            "3ffe::1",
        ] {
            assert_eq!(sort(address), None, "{address}");
        }
    }
}
