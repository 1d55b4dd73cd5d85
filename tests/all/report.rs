//! `diagnose --report`: what a report says, and what is never in it.

use std::{
    fs,
    path::{Path, PathBuf},
    process::{Command, Output, Stdio},
};

use crate::support::words;

use base64::{Engine, engine::general_purpose};
use handfast::{
    demo,
    fact::Fact,
    intake::{Capture, Item},
    key::{
        Aes128Key, AppKey, AppSKey, FNwkSIntKey, GenAppKey, NwkKey, NwkSEncKey, NwkSKey,
        SNwkSIntKey,
    },
    ladder::{self, Options},
    region::Plan,
    report::{self, Report},
    roster::{self, Claim, Roster},
    scenario::{Mistake, Probe, Scene},
    show::{Secrets, html, markdown},
    trace::{Trace, Tracer},
};

/// A capture and a roster, with the trace that they make.
struct Told {
    roster: Roster,
    trace: Trace,
}

impl Told {
    fn new(capture: &str, roster: &str, folder: Option<&Path>) -> Self {
        let roster = roster::parse(roster, folder).unwrap_or_else(|e| panic!("{e}"));
        let mut tracer = Tracer::new(&roster);
        for item in Capture::new(capture.as_bytes()).flatten() {
            if let Item::Event(event) = item {
                tracer.push(event);
            }
        }
        let trace = tracer.finish();
        Self { roster, trace }
    }

    fn demo() -> Self {
        Self::new(demo::CAPTURE, demo::ROSTER, None)
    }

    /// The report as a page and as Markdown.
    fn both(&self, show_keys: bool) -> [String; 2] {
        let all = ladder::diagnose(&self.trace, &self.roster, Options::default());
        let options = report::Options { show_keys };
        let report = Report::new(&all, &self.trace, &self.roster, options);
        let (mut page, mut text) = (String::new(), String::new());
        html::report(&report, &mut page).unwrap();
        markdown::report(&report, &mut text).unwrap();
        [page, text]
    }

    /// Every key that the roster has, and every session key that comes of it.
    fn keys(&self) -> Vec<Aes128Key> {
        let mut keys = Vec::new();
        for (_, claim) in self.roster.nodes.iter().flat_map(roster::Node::claims) {
            keys.extend(keys_of(claim));
        }
        for candidate in
            self.trace.nodes.iter().flat_map(|n| &n.sessions).flat_map(|s| &s.candidates)
        {
            keys.extend(candidate.keys.named().into_iter().map(|(_, key)| key.clone()));
        }
        keys
    }
}

fn keys_of(claim: &Claim) -> Vec<Aes128Key> {
    [
        claim.app_key.as_ref().map(AppKey::key),
        claim.nwk_key.as_ref().map(NwkKey::key),
        claim.gen_app_key.as_ref().map(GenAppKey::key),
        claim.nwk_s_key.as_ref().map(NwkSKey::key),
        claim.app_s_key.as_ref().map(AppSKey::key),
        claim.f_nwk_s_int_key.as_ref().map(FNwkSIntKey::key),
        claim.s_nwk_s_int_key.as_ref().map(SNwkSIntKey::key),
        claim.nwk_s_enc_key.as_ref().map(NwkSEncKey::key),
    ]
    .into_iter()
    .flatten()
    .cloned()
    .collect()
}

/// Whether a text has a key in any form that people or programs write one in.
fn has_key(text: &str, key: &Aes128Key) -> bool {
    let octets = hex::decode(key.revealed()).unwrap();
    let mut turned = octets.clone();
    turned.reverse();
    let digits = squeezed(text);
    [octets, turned].iter().any(|octets| {
        let base64 = [
            general_purpose::STANDARD_NO_PAD.encode(octets),
            general_purpose::URL_SAFE_NO_PAD.encode(octets),
        ];
        digits.contains(&hex::encode(octets)) || base64.iter().any(|form| text.contains(form))
    })
}

/// The hex digits of a text in a row, its tags and all separators left out.
fn squeezed(text: &str) -> String {
    let mut out = String::new();
    let mut in_tag = false;
    for c in text.chars() {
        match c {
            '<' => in_tag = true,
            '>' => in_tag = false,
            c if !in_tag && c.is_ascii_hexdigit() => out.push(c.to_ascii_lowercase()),
            _ => {}
        }
    }
    out
}

/// The cases with captures and rosters, and the demo.
fn cases() -> Vec<(String, Told)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("vectors/join");
    let mut all = vec![("demo".to_owned(), Told::demo())];
    for case in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        let read = |end: &str| {
            let mut files = fs::read_dir(&case).into_iter().flatten().flatten().map(|f| f.path());
            files
                .find(|f| f.to_string_lossy().ends_with(end))
                .map(|f| fs::read_to_string(f).unwrap())
        };
        if let (Some(capture), Some(roster)) = (read("json"), read(".toml")) {
            all.push((case.display().to_string(), Told::new(&capture, &roster, Some(&case))));
        }
    }
    assert!(all.len() > 30, "{} cases", all.len());
    all
}

#[test]
fn no_key_is_in_a_report_in_any_form() {
    let mut looked = 0;
    for (name, told) in cases() {
        let reports = told.both(false);
        for key in told.keys() {
            for report in &reports {
                assert!(!has_key(report, &key), "{name}");
                looked += 1;
            }
        }
    }
    assert!(looked > 200, "{looked} looks");
}

#[test]
fn keys_are_shown_when_asked_for() {
    // What also shows that the look above finds a key that is there.
    let told = Told::demo();
    let probe = told.roster.nodes[2].record.as_ref().unwrap();
    let key = probe.app_key.as_ref().unwrap().key();
    for report in told.both(true) {
        assert!(has_key(&report, key));
        assert!(report.contains("This file holds keys."));
    }
    assert!(!told.both(false)[0].contains("This file holds keys."));
}

#[test]
fn a_slip_in_a_key_is_told_by_its_place_and_never_by_its_digits() {
    let plan = Plan::by_name("EU868").unwrap();
    let mut told_digits = 0;
    for seed in 0..12 {
        let probe =
            Probe { attempts: 2, mistakes: vec![Mistake::AppKeyTyped], ..Probe::new("row-1") };
        let recording = Scene { probes: vec![probe], ..Scene::new(seed, plan) }.play();
        let told = Told::new(&recording.capture, &recording.roster, None);
        let all = ladder::diagnose(&told.trace, &told.roster, Options::default());
        let verdict = &all[0].causes[0];
        assert_eq!(verdict.cause.id.name(), "app-key-typed-wrong", "seed {seed}");
        // `digit 7: the record's AppKey has A where the frames agree with B`.
        let [page, text] = told.both(false);
        for report in [&page, &text] {
            assert!(!report.contains(" where the frames agree with "), "seed {seed}");
        }
        told_digits +=
            usize::from(shown(&verdict.summary).contains(" where the frames agree with "));
        assert!(page.contains("<mark>\u{2022}</mark>"), "seed {seed}: the place is marked");
        assert!(told.both(true)[1].contains(&text_of(&shown(&verdict.summary))), "seed {seed}");
    }
    assert!(told_digits > 0, "no seed made a slip whose sentence tells a digit");
}

/// A sentence with the digits of keys in it.
fn shown(fact: &Fact) -> String {
    handfast::fact::text(fact, Secrets::Shown)
}

/// A sentence without its first letter and its markup.
fn text_of(summary: &str) -> String {
    summary[1..].split(['_', '`']).next().unwrap().to_owned()
}

#[test]
fn every_diagnosis_knows_its_place_in_the_trace() {
    for (name, told) in cases() {
        let all = ladder::diagnose(&told.trace, &told.roster, Options::default());
        for diagnosis in &all {
            let node = &told.trace.nodes[diagnosis.place];
            assert_eq!(node.dev_eui, diagnosis.dev_eui, "{name}");
            assert_eq!(node.attempts.total(), diagnosis.attempts, "{name}");
            assert_eq!(diagnosis.told.is_some(), !node.attempts.is_empty(), "{name}");
        }
    }
}

#[test]
fn the_exchange_says_what_fell_outside() {
    let [page, text] = Told::demo().both(false);
    for report in [page, text] {
        // The demo's probe-05 is answered 1 s after its requests, probe-06 0.532 s too late.
        assert_eq!(
            report.matches("4.00 s before RX1").count() / 2,
            1 + usize::from(is_page(&report))
        );
        assert!(report.contains("532 ms after its slot") && report.contains("refused: TOO"));
        assert!(report.contains("Accept, not sent"));
    }
}

#[test]
fn a_session_shows_the_settings_of_both_sides_and_its_downlinks() {
    let [page, text] = Told::demo().both(false);
    // probe-09: the accept gives 5 s, and the server's downlinks come after one.
    assert!(text.contains(
        "| RX1 delay | 5 s | the accept, line 81 (06:36:03Z) | 1.000000 s **another value** |"
    ));
    assert!(text.contains("| Downlink on the air | +1.000 s, 868.3 MHz SF10BW125 | **outside**: delay 1.000000 s, expected 5.000000 s |"), "{text}");
    for report in [&page, &text] {
        assert!(
            report.contains("The settings of both sides")
                && report.contains("The downlinks in time")
        );
    }
    // Four nodes have a session to show, in the overview too.
    assert_eq!(page.matches("pips of-session").count(), 4);
    assert_eq!(page.matches("<h3>The settings of both sides</h3>").count(), 4);
    // Nodes that never joined have none.
    let (_, probe) = page.split_once("id=\"node-3\"").unwrap();
    let (probe, _) = probe.split_once("id=\"node-4\"").unwrap();
    assert!(!probe.contains("The settings of both sides"));
}

fn is_page(report: &str) -> bool {
    report.starts_with("<!DOCTYPE html>")
}

#[test]
fn every_node_has_all_its_parts() {
    let [page, text] = Told::demo().both(false);
    assert_eq!(page.matches("<article id=\"node-").count(), 10);
    assert_eq!(page.matches("<h3>The join ladder</h3>").count(), 10);
    assert_eq!(page.matches("<h3>The session ladder</h3>").count(), 4);
    for (part, title) in [
        ("claims", "What each place states"),
        ("time", "The exchange in time"),
        ("channels", "Channels"),
        ("signal", "Signal"),
        ("bytes", "Frames, byte by byte"),
        ("ticket", "For the ticket"),
    ] {
        assert_eq!(page.matches(&format!("<h3>{title}</h3>")).count(), 10, "{part}");
        assert_eq!(text.matches(&format!("\n### {title}\n")).count(), 10, "{part}");
    }
    assert_eq!(text.matches("\n| 10 | proven | ").count(), 10);
    for report in [&page, &text] {
        assert!(report.contains("Heard, and on no roster"));
        assert!(report.contains("02-00-00-FF-FE-69-18-3F"), "the neighbour");
        assert!(report.contains("probe-03 (DevEUI 02-00-00-FF-FE-DE-52-2D, EU868): never joined"));
    }
}

#[test]
fn reversed_digits_are_marked_beside_what_was_heard() {
    let [page, text] = Told::demo().both(false);
    let (_, probe) = page.split_once("id=\"node-2\"").unwrap();
    let (_, claims) = probe.split_once("<dl class=\"claims\">").unwrap();
    let (differ, _) = claims.split_once("class=\"alike\"").unwrap();
    assert_eq!(differ.matches("<dt>").count(), 1, "the DevEUI alone differs");
    assert!(
        differ.contains("What the node sends is the firmware's read backwards, byte by byte."),
        "{differ}"
    );
    // 020000fffec601b9 read backwards differs in all digits but four.
    let places = "020000fffec601b9".bytes().zip("b901c6feff000002".bytes());
    let marks = places.filter(|(a, b)| a != b).count();
    assert_eq!(differ.matches("<mark>").count(), marks * 3);
    assert!(text.contains(&format!("{marks} digits differ")));
}

#[test]
fn tables_of_markdown_keep_their_columns_whatever_the_roster_says() {
    let name = "a|b`c` <img src=x> @row [x](http://y) \\\\ | *";
    let roster = demo::ROSTER
        .replace("\"probe-02\"", &format!("\"{name}\""))
        .replace("name = \"barn\"", "name = \"<b>|barn@row #1\"");
    let [page, text] = Told::new(demo::CAPTURE, &roster, None).both(false);
    for raw in ["<img", "<b>", "@row [", "](http:"] {
        let outside: Vec<&str> =
            text.lines().filter(|l| l.split('`').step_by(2).any(|s| s.contains(raw))).collect();
        assert!(outside.is_empty(), "{raw}: {outside:?}");
    }
    assert!(!page.contains("<img") && !page.contains("<b>"));
    let mut columns = None;
    for line in text.lines() {
        if !line.starts_with('|') {
            columns = None;
            continue;
        }
        let bars = line.matches('|').count() - line.matches("\\|").count();
        assert_eq!(*columns.get_or_insert(bars), bars, "{line}");
    }
}

#[test]
fn the_picture_of_the_readme_is_there_and_light() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let readme = fs::read_to_string(root.join("README.md")).unwrap();
    let (_, rest) = readme.split_once("](tests/pictures/").unwrap();
    let picture =
        fs::read(root.join("tests/pictures").join(rest.split_once(')').unwrap().0)).unwrap();
    assert!(picture.starts_with(b"\x89PNG") && picture.len() < 150_000, "{}", picture.len());
}

#[test]
fn a_crowd_of_nodes_is_listed_and_the_faulty_ones_told_of() {
    let told = Told::demo();
    let all = ladder::diagnose(&told.trace, &told.roster, Options::default());
    let healthy = all.iter().find(|d| !d.has_fault()).unwrap();
    let mut crowd = vec![healthy.clone(); 400];
    crowd.extend(all.iter().filter(|d| d.has_fault()).cloned());
    let report = Report::new(&crowd, &told.trace, &told.roster, report::Options::default());
    let mut page = String::new();
    html::report(&report, &mut page).unwrap();
    assert_eq!(page.matches("<article id=\"node-").count(), 200);
    assert_eq!(page.matches("class=\"pips\"").count(), 409);
    assert!(page.contains("409 nodes; something is wrong with 9."));
    for probe in 2..=8 {
        assert!(page.contains(&format!("<span class=\"name\">probe-0{probe}</span>")), "{probe}");
    }
}

// --- the command -------------------------------------------------------------------------

fn handfast(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_handfast")).arg("diagnose").args(args).output().unwrap()
}

fn said(run: &Output) -> String {
    words::unfolded(&String::from_utf8_lossy(&run.stderr))
}

fn scratch(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("report");
    fs::create_dir_all(&folder).unwrap();
    folder.join(name)
}

#[test]
fn the_report_stands_beside_the_text_and_says_where() {
    for name in ["demo.html", "demo.HTM", "demo.md"] {
        let file = scratch(name);
        let run = handfast(&["--demo", "--report", file.to_str().unwrap()]);
        assert_eq!(run.status.code(), Some(1), "the demo has faults");
        assert!(String::from_utf8_lossy(&run.stdout).contains("probe-03: never joined"));
        assert!(said(&run).contains(&format!("note: the report is in {}", file.display())));
        let written = fs::read_to_string(&file).unwrap();
        assert_eq!(is_page(&written), !name.ends_with("md"), "{name}");
    }
}

#[test]
fn a_report_may_go_to_standard_output_and_then_stands_there_alone() {
    let file = scratch("same.html");
    handfast(&["--demo", "--report", file.to_str().unwrap(), "--force"]);
    let run = handfast(&["--demo", "--report", "-"]);
    assert_eq!(run.status.code(), Some(1), "the demo has faults");
    assert_eq!(String::from_utf8_lossy(&run.stdout), fs::read_to_string(&file).unwrap());
    for other in ["--json", "--working", "--summary"] {
        let run = handfast(&["--demo", "--report", "-", other]);
        assert_eq!((run.status.code(), run.stdout.len()), (Some(2), 0), "{other}");
        assert!(said(&run).contains("--report - prints the page alone"), "{}", said(&run));
    }
}

#[test]
fn a_closed_pipe_does_not_cost_the_report() {
    let file = scratch("piped.md");
    let _ = fs::remove_file(&file);
    let mut run = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(["diagnose", "--demo", "--report", file.to_str().unwrap()])
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    drop(run.stdout.take());
    assert_eq!(run.wait().unwrap().code(), Some(1));
    assert!(fs::read_to_string(&file).unwrap().contains("Made by Handfast"));
}

#[test]
fn a_file_that_cannot_be_written_is_an_error() {
    for (file, why) in [
        ("/no/such/folder/report.html", "cannot be written: no such file"),
        (env!("CARGO_MANIFEST_DIR"), "ends neither in .html nor in .md"),
        ("report.pdf", "ends neither in .html nor in .md"),
    ] {
        let run = handfast(&["--demo", "--report", file]);
        assert_eq!(run.status.code(), Some(2), "{file}");
        assert!(said(&run).contains(&format!("error: --report: {file} {why}")), "{}", said(&run));
    }
    let folder = scratch("folder.html");
    fs::create_dir_all(&folder).unwrap();
    let run = handfast(&["--demo", "--report", folder.to_str().unwrap()]);
    assert_eq!(run.status.code(), Some(2));
    assert!(said(&run).contains("cannot be written: it is a directory"), "{}", said(&run));
    let run = handfast(&["--demo", "--show-keys"]);
    assert_eq!(run.status.code(), Some(2), "there is no report to show keys in");
}

#[cfg(unix)]
#[test]
fn a_report_with_keys_is_for_its_owner_alone_and_comes_with_a_caution() {
    use std::os::unix::fs::PermissionsExt;
    let file = scratch("keys.html");
    fs::write(&file, "an older one").unwrap();
    let run = handfast(&["--demo", "--show-keys", "--force", "--report", file.to_str().unwrap()]);
    assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
    assert!(
        said(&run).contains("caution: ") && said(&run).contains("holds keys"),
        "{}",
        said(&run)
    );
}

#[test]
fn bad_captures_make_reports_all_the_same() {
    let odd = r#"{"rxpk":[{"tmst":4294967295,"freq":0.000001,"datr":"SF7BW125","rssi":-1e38,"lsnr":1e38,"stat":1,"size":23,"data":"AKtjC/7/AAACCwBC/v8AAAKQlCznXAU="}]}
{"rxpk":[{"tmst":0,"freq":4294.967295,"datr":50000,"rssi":1,"data":"AA=="}]}
{"txpk":{"imme":true,"freq":868.1,"powe":255,"datr":"SF12BW125","ipol":false,"size":1,"data":"IA=="}}
{"rxpk":[{"data":"gAAAAACPAAECAwQFBgcICQoLDA0ODxAREhM="}]}"#;
    let cut = &demo::CAPTURE[..demo::CAPTURE.len() / 2];
    for (name, capture) in [("empty", ""), ("odd", odd), ("cut", cut), ("noise", "\u{0}{]\n{}\n[]")]
    {
        for with_roster in [false, true] {
            let capture_file = scratch(&format!("{name}.ndjson"));
            fs::write(&capture_file, capture).unwrap();
            let roster_file = scratch("roster.toml");
            fs::write(&roster_file, demo::ROSTER).unwrap();
            let file = scratch(&format!("{name}-{with_roster}.html"));
            let mut args = vec![capture_file.to_str().unwrap(), "--digits", "1", "--report"];
            args.push(file.to_str().unwrap());
            if with_roster {
                args.extend(["--roster", roster_file.to_str().unwrap()]);
            }
            let run = handfast(&args);
            assert!(!said(&run).contains("panicked"), "{}", said(&run));
            let page = fs::read_to_string(&file).unwrap();
            assert!(page.ends_with("</html>"), "{name}");
            // One node of the demo has joined and sent data before the cut.
            let proven = name == "cut" && with_roster;
            assert_eq!(page.contains("nothing wrong found"), proven, "{name}");
            assert_eq!(page.contains("The capture is empty."), name == "empty", "{name}");
        }
    }
}
