//! The tap under load on loopback: how many datagrams a second it takes, and what is lost.
//!
//! Generator, tap and, as a relay, a server share the cores of one machine, so that the rates are less than those
//! of a tap that has them to itself. Nothing is asserted.

#![expect(clippy::print_stdout, reason = "a bench prints")]

use std::{
    net::{SocketAddr, UdpSocket},
    ops::ControlFlow,
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicU64, Ordering},
    },
    thread,
    time::{Duration, Instant},
};

use handfast::{
    demo,
    live::{Config, Counters, Recording, Tap},
    roster,
};

/// How long each load lasts.
const LASTS: Duration = Duration::from_secs(4);
/// Gateways that send by turns.
const GATEWAYS: u8 = 32;

fn main() {
    for (name, relay) in [("acknowledging", false), ("as a relay", true)] {
        for rate in [20_000, 40_000, u32::MAX] {
            load(name, relay, rate);
        }
    }
}

fn load(name: &str, relay: bool, rate: u32) {
    let roster = roster::parse(demo::ROSTER, None).expect("the demo's roster is sound");
    let folder = std::env::temp_dir().join(format!("handfast-bench-tap-{}", std::process::id()));
    std::fs::create_dir_all(&folder).expect("a folder for the recording");
    let over = Arc::new(AtomicBool::new(false));
    let server = relay.then(|| server(&over));
    let tap = Tap::open(Config {
        relay: server,
        recording: Some(Recording { path: folder.join("load.ndjson"), rotate: None, force: false }),
        ..Config::new(SocketAddr::from(([127, 0, 0, 1], 0)))
    })
    .expect("a port of loopback is free");
    let at = tap.locals().next().expect("it listens");
    let stop = Arc::new(AtomicBool::new(false));
    let (sent, answered) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicU64::new(0)));
    let generator = {
        let (stop, sent, answered) = (stop.clone(), sent.clone(), answered.clone());
        thread::spawn(move || {
            let seconds = generate(at, rate, &sent, &answered);
            // What is on its way arrives.
            thread::sleep(Duration::from_millis(500));
            stop.store(true, Ordering::Relaxed);
            seconds
        })
    };
    let counters = tap.run(&roster, &stop, &mut |_, _| ControlFlow::Continue(())).expect("it runs");
    over.store(true, Ordering::Relaxed);
    let seconds = generator.join().expect("the generator ends");
    let (sent, answered) = (sent.load(Ordering::Relaxed), answered.load(Ordering::Relaxed));
    report(name, rate, sent, answered, seconds, &counters);
    let _ = std::fs::remove_dir_all(&folder);
}

#[expect(clippy::cast_precision_loss, reason = "counts far below 2^52")]
fn report(name: &str, rate: u32, sent: u64, answered: u64, seconds: f64, counters: &Counters) {
    let wanted = if rate == u32::MAX { "as fast as it goes".into() } else { format!("{rate}/s") };
    println!("{name}, {wanted}: sent {:.0}/s", sent as f64 / seconds);
    let received = counters.received.value();
    println!("  lost before the tap {} of {sent}", sent - received);
    println!("  answers back at the gateways {answered}");
    println!(
        "  recorded {}, not recorded {}",
        counters.recorded.value(),
        counters.not_recorded.value()
    );
    println!(
        "  read {}, passed on without reading {}",
        counters.frames_up.value(),
        counters.not_decoded.value()
    );
}

/// Sends for a while at that rate; returns how long it took.
fn generate(at: SocketAddr, rate: u32, sent: &AtomicU64, answered: &AtomicU64) -> f64 {
    let sockets: Vec<UdpSocket> = (0..GATEWAYS)
        .map(|_| {
            let socket = UdpSocket::bind("127.0.0.1:0").expect("a port of loopback is free");
            socket.set_nonblocking(true).expect("a socket that does not wait");
            socket
        })
        .collect();
    let json = br#"{"rxpk":[{"tmst":369601898,"freq":868.3,"datr":"SF9BW125","rssi":-84,"lsnr":7.5,"stat":1,"size":17,"data":"QNq7AQKAAgACJyECna6vnuk="}]}"#;
    let mut octets = [&[2, 0, 0, 0, 2, 0, 0, 0xFF, 0xFE, 0, 0, 0][..], json].concat();
    let begun = Instant::now();
    let mut number: u32 = 0;
    let mut buffer = [0; 64];
    while begun.elapsed() < LASTS {
        let due = begun.elapsed().as_secs_f64() * f64::from(rate);
        if f64::from(number) >= due {
            thread::sleep(Duration::from_micros(500));
            continue;
        }
        for (gateway, socket) in (0..).zip(&sockets) {
            let [.., high, low] = number.to_be_bytes();
            octets[1..3].copy_from_slice(&[high, low]);
            octets[11] = gateway;
            number += 1;
            if socket.send_to(&octets, at).is_ok() {
                sent.fetch_add(1, Ordering::Relaxed);
            }
            while socket.recv(&mut buffer).is_ok() {
                answered.fetch_add(1, Ordering::Relaxed);
            }
        }
    }
    let seconds = begun.elapsed().as_secs_f64();
    let until = Instant::now() + Duration::from_millis(400);
    while Instant::now() < until {
        for socket in &sockets {
            while socket.recv(&mut buffer).is_ok() {
                answered.fetch_add(1, Ordering::Relaxed);
            }
        }
    }
    seconds
}

/// A server that acknowledges every PUSH_DATA.
fn server(over: &Arc<AtomicBool>) -> SocketAddr {
    let socket = UdpSocket::bind("127.0.0.1:0").expect("a port of loopback is free");
    socket.set_read_timeout(Some(Duration::from_millis(100))).expect("a time to wait");
    let at = socket.local_addr().expect("it is bound");
    let over = over.clone();
    thread::spawn(move || {
        let mut buffer = [0; 2_048];
        while !over.load(Ordering::Relaxed) {
            if let Ok((_, from)) = socket.recv_from(&mut buffer) {
                let _ = socket.send_to(&[2, buffer[1], buffer[2], 1], from);
            }
        }
    });
    at
}
