//! What the system dropped because nobody read it in time: it counts that for each socket.

use std::fs;
#[cfg(target_os = "linux")]
use std::os::fd::AsRawFd;

/// The sockets whose loss is counted, by their inodes.
#[derive(Clone, Debug, Default)]
pub(super) struct Drops(Vec<u64>);

impl Drops {
    /// Adds a socket.
    #[cfg(target_os = "linux")]
    pub(super) fn add(&mut self, socket: &impl AsRawFd) {
        let link = fs::read_link(format!("/proc/self/fd/{}", socket.as_raw_fd()));
        let link = link.map(|link| link.to_string_lossy().into_owned()).unwrap_or_default();
        let inode = link.strip_prefix("socket:[").and_then(|rest| rest.strip_suffix(']'));
        self.0.extend(inode.and_then(|digits| digits.parse::<u64>().ok()));
    }

    /// Other systems say nothing of it.
    #[cfg(not(target_os = "linux"))]
    pub(super) fn add<S>(&mut self, _: &S) {}

    /// Returns how many datagrams the system has dropped so far; `None` where it does not say.
    pub(super) fn count(&self) -> Option<u64> {
        if self.0.is_empty() {
            return None;
        }
        let tables = ["/proc/self/net/udp", "/proc/self/net/udp6"];
        let texts = tables.map(|table| fs::read_to_string(table).unwrap_or_default());
        Some(texts.iter().map(|text| self.dropped(text)).sum())
    }

    /// Adds up the drops of a table: a line a socket, the inode its tenth column, the drops its thirteenth (Linux,
    /// Documentation/networking/proc_net_tcp and net/ipv4/udp.c).
    fn dropped(&self, table: &str) -> u64 {
        let of_line = |line: &str| {
            let mut columns = line.split_whitespace().skip(9);
            let inode: u64 = columns.next()?.parse().ok()?;
            let drops: u64 = columns.nth(2)?.parse().ok()?;
            self.0.contains(&inode).then_some(drops)
        };
        table.lines().skip(1).filter_map(of_line).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drops_are_those_of_our_sockets() {
        let table = "   sl  local_address rem_address   st tx_queue rx_queue tr tm->when retrnsmt   uid  timeout inode ref pointer drops\n\
            1: 0100007F:06A4 00000000:0000 07 00000000:00000000 00:00000000 00000000     0        0 4711 2 0000000000000000 12\n\
            2: 0100007F:06A5 00000000:0000 07 00000000:00000000 00:00000000 00000000     0        0 4712 2 0000000000000000 30\n\
            3: cut\n";
        assert_eq!(Drops(vec![4711]).dropped(table), 12);
        assert_eq!(Drops(vec![4711, 4712]).dropped(table), 42);
        assert_eq!(Drops::default().count(), None);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn the_system_says_what_it_dropped() {
        let socket = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
        let mut drops = Drops::default();
        drops.add(&socket);
        assert_eq!(drops.count(), Some(0));
        let to = socket.local_addr().unwrap();
        let from = std::net::UdpSocket::bind("127.0.0.1:0").unwrap();
        // More than any buffer that a socket has without asking for it.
        for _ in 0..20_000 {
            let _ = from.send_to(&[0; 1000], to);
        }
        assert!(drops.count() > Some(0));
    }
}
