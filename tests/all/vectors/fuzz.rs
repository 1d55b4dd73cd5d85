//! What the fuzz targets ask, asked again of every input that once broke one.

use std::str;

use handfast::{
    frame::{JoinAccept, decode},
    intake::{Capture, CaptureOptions, Item, LoraTap, frame_text},
    ladder::{Options, diagnose},
    roster,
    trace::Tracer,
};

use super::{Outcome, same};

/// Runs the octets through the target of that name.
pub(super) fn replay(target: &str, octets: &[u8]) -> Outcome {
    match target {
        "frame" => {
            if let Some(frame) = decode(octets).frame {
                same("bytes built again", frame.build(), octets)?;
            }
            match JoinAccept::read_opened(octets) {
                Ok(opened) => same("bytes of the opened accept", opened.accept.octets(), octets),
                Err(_) => Ok(()),
            }
        }
        "intake" => {
            // What comes out does not matter, only that it ends.
            Capture::new(octets).for_each(drop);
            if let Ok(text) = str::from_utf8(octets) {
                drop(frame_text(text));
            }
            Ok(())
        }
        // The lines before it make it a log.
        "log" => {
            let log = [b"one two\nthree four\nfive six\n", octets].concat();
            Capture::new(log.as_slice()).for_each(drop);
            Ok(())
        }
        "station" => {
            let options = CaptureOptions { strict: true, ..CaptureOptions::default() };
            Capture::open(octets, options).for_each(drop);
            Capture::new(octets).for_each(drop);
            Ok(())
        }
        "console" => {
            let text = include_str!("../../../vectors/join/jf-33/roster.toml");
            let mut roster = roster::parse(text, None).map_err(|error| error.to_string())?;
            let mut tracer = Tracer::new(&roster);
            let capture = include_str!("../../../vectors/join/jf-33/capture.ndjson");
            for item in Capture::new(capture.as_bytes()) {
                if let Ok(Item::Event(event)) = item {
                    tracer.push(event);
                }
            }
            let trace = tracer.finish();
            roster.nodes[0].add_console(str::from_utf8(octets).unwrap_or_default().lines());
            drop(diagnose(&trace, &roster, Options::default()));
            Ok(())
        }
        "pcap" => {
            Capture::new(octets).for_each(drop);
            Ok(())
        }
        "loratap" => match LoraTap::read(octets) {
            Ok((tap, _)) => {
                let (again, _) = LoraTap::read(&tap.octets()).map_err(|e| e.to_string())?;
                same("bytes of the header written again", again.octets(), tap.octets())
            }
            Err(_) => Ok(()),
        },
        "roster" => {
            if let Ok(text) = str::from_utf8(octets) {
                drop(roster::parse(text, None));
            }
            Ok(())
        }
        _ => Err(format!("no fuzz target {target}")),
    }
}
