//! A tap that runs, a gateway, a server.

use std::{
    io::{BufRead as _, BufReader, Read},
    net::{SocketAddr, UdpSocket},
    process::{Child, Command, Stdio},
    sync::mpsc::{self, Receiver},
    thread::{self, JoinHandle},
    time::{Duration, Instant},
};

pub(crate) const PUSH_DATA: u8 = 0;
pub(crate) const PUSH_ACK: u8 = 1;
pub(crate) const PULL_DATA: u8 = 2;
pub(crate) const PULL_RESP: u8 = 3;
pub(crate) const PULL_ACK: u8 = 4;
pub(crate) const TX_ACK: u8 = 5;

/// A gateway of the orchard.
pub(crate) const EUI: [u8; 8] = [2, 0, 0, 0xFF, 0xFE, 0xA0, 0x94, 0x42];

/// No test is about how long something takes: so long means never, on any machine.
const PATIENCE: Duration = Duration::from_secs(120);

/// A frame that a gateway heard; `tmst` tells one from another.
pub(crate) fn heard(tmst: u32) -> String {
    format!(
        r#"{{"rxpk":[{{"tmst":{tmst},"freq":868.3,"datr":"SF9BW125","rssi":-84,"lsnr":7.5,"stat":1,"size":23,"data":"AKtjC/7/AAACCwBC/v8AAAKQlCznXAU="}}]}}"#
    )
}

/// A datagram of a gateway.
pub(crate) fn from_gateway(kind: u8, token: u16, eui: [u8; 8], json: &str) -> Vec<u8> {
    let [high, low] = token.to_be_bytes();
    [&[2, high, low, kind][..], &eui, json.as_bytes()].concat()
}

/// A datagram of a server.
pub(crate) fn from_server(kind: u8, token: u16, json: &str) -> Vec<u8> {
    let [high, low] = token.to_be_bytes();
    [&[2, high, low, kind][..], json.as_bytes()].concat()
}

pub(crate) fn socket() -> UdpSocket {
    let socket = UdpSocket::bind("127.0.0.1:0").unwrap();
    socket.set_read_timeout(Some(PATIENCE)).unwrap();
    socket
}

pub(crate) fn receive(socket: &UdpSocket) -> (Vec<u8>, SocketAddr) {
    let mut buffer = vec![0; 1 << 16];
    let (n, from) = socket.recv_from(&mut buffer).expect("a datagram comes");
    (buffer[..n].to_vec(), from)
}

/// Whether nothing waits to be received.
pub(crate) fn is_silent(socket: &UdpSocket) -> bool {
    socket.set_nonblocking(true).unwrap();
    let silent = socket.recv(&mut [0; 64]).is_err();
    socket.set_nonblocking(false).unwrap();
    silent
}

pub(crate) fn is_refused(error: &std::io::Error) -> bool {
    error.kind() == std::io::ErrorKind::ConnectionRefused
}

/// A tap that runs as a program of its own.
pub(crate) struct Tap {
    child: Child,
    pub(crate) port: SocketAddr,
    /// The second port, where it has one.
    pub(crate) second: Option<SocketAddr>,
    out: Receiver<String>,
    err: Receiver<String>,
    pub(crate) out_lines: Vec<String>,
    pub(crate) err_lines: Vec<String>,
    readers: Vec<JoinHandle<()>>,
}

/// How a tap ended.
pub(crate) struct Ended {
    pub(crate) exit: Option<i32>,
    pub(crate) out: Vec<String>,
    pub(crate) err: Vec<String>,
}

impl Ended {
    /// A count of the summary that `--json` ends with.
    pub(crate) fn count(&self, name: &str) -> u64 {
        let last: serde_json::Value = serde_json::from_str(self.out.last().unwrap()).unwrap();
        assert_eq!(last["event"], "summary");
        last[name].as_u64().unwrap_or_else(|| panic!("no count {name}: {last}"))
    }
}

impl Tap {
    pub(crate) fn start(args: &[&str]) -> Self {
        let mut tap = Self::start_unread(args);
        tap.read();
        tap
    }

    /// Starts one whose standard output nobody reads yet.
    pub(crate) fn start_unread(args: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_handfast"))
            .args(["tap", "--listen", "127.0.0.1:0"])
            .args(args)
            .env("NO_COLOR", "1")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let (_, out) = mpsc::channel();
        let (err, reads_err) = lines(child.stderr.take().unwrap());
        let port = "127.0.0.1:0".parse().unwrap();
        let (out_lines, err_lines, readers) = (Vec::new(), Vec::new(), vec![reads_err]);
        let mut tap = Self { child, port, second: None, out, err, out_lines, err_lines, readers };
        let note = tap.err_line(|line| line.starts_with("note: tap at "));
        let addresses = note["note: tap at ".len()..].split(',').next().unwrap();
        let mut addresses = addresses.split(" and ").map(|address| address.parse().unwrap());
        tap.port = addresses.next().unwrap();
        tap.second = addresses.next();
        tap
    }

    /// Begins to read its standard output.
    pub(crate) fn read(&mut self) {
        let (out, reads_out) = lines(self.child.stdout.take().unwrap());
        self.out = out;
        self.readers.push(reads_out);
    }

    /// Waits for a line of standard error.
    pub(crate) fn err_line(&mut self, wanted: impl Fn(&str) -> bool) -> String {
        wait_for(&self.err, &mut self.err_lines, wanted)
    }

    /// Waits for a line of standard output.
    pub(crate) fn out_line(&mut self, wanted: impl Fn(&str) -> bool) -> String {
        wait_for(&self.out, &mut self.out_lines, wanted)
    }

    /// Presses Ctrl-C, and waits for the end.
    pub(crate) fn interrupt(self) -> Ended {
        self.signal("-INT")
    }

    /// Sends a signal, and waits for the end.
    pub(crate) fn signal(self, signal: &str) -> Ended {
        let id = self.child.id().to_string();
        assert!(Command::new("kill").args([signal, &id]).status().unwrap().success());
        self.end()
    }

    /// Waits for the end.
    pub(crate) fn end(mut self) -> Ended {
        let begun = Instant::now();
        let exit = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status.code();
            }
            assert!(begun.elapsed() < PATIENCE, "the tap ends");
            thread::sleep(Duration::from_millis(5));
        };
        for reader in self.readers.drain(..) {
            reader.join().unwrap();
        }
        let (mut out, mut err) =
            (std::mem::take(&mut self.out_lines), std::mem::take(&mut self.err_lines));
        out.extend(self.out.try_iter());
        err.extend(self.err.try_iter());
        Ended { exit, out, err }
    }
}

impl Drop for Tap {
    fn drop(&mut self) {
        // After a failed test only; one that ended is gone.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn lines(stream: impl Read + Send + 'static) -> (Receiver<String>, JoinHandle<()>) {
    let (give, take) = mpsc::channel();
    let reader = thread::spawn(move || {
        for line in BufReader::new(stream).lines() {
            let _ = give.send(line.unwrap());
        }
    });
    (take, reader)
}

fn wait_for(
    from: &Receiver<String>,
    seen: &mut Vec<String>,
    wanted: impl Fn(&str) -> bool,
) -> String {
    let until = Instant::now() + PATIENCE;
    loop {
        let left = until.saturating_duration_since(Instant::now());
        let line = from.recv_timeout(left).unwrap_or_else(|e| panic!("{e}; so far {seen:?}"));
        seen.push(line.clone());
        if wanted(&line) {
            return line;
        }
    }
}
