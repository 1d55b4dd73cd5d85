//! What others wrote does not move a cursor, hide, turn or compute; a key in the wrong place is not repeated.

use super::{Folder, KEY, REQUEST, handfast, run, said};

/// Escape sequences, a bell, a mark that turns text, characters without width, separators of lines.
const NASTY: &str = "a\u{1b}]0;x\u{7}\u{202e}\u{200b}\u{2028}\u{85}\u{7f}b";

fn is_clean(text: &[u8]) {
    let text = String::from_utf8_lossy(text);
    for bad in NASTY.chars().filter(|c| !c.is_ascii_graphic()) {
        assert!(!text.contains(bad), "{bad:?} in {text:?}");
    }
}

#[test]
fn names_of_files_are_made_visible() {
    let folder = Folder::new("nasty");
    let name = format!("{NASTY}.txt");
    let path = folder.file(&name, format!("{REQUEST}\nnot a frame\n"));
    let missing = format!("{path}.gone");
    let pages = [folder.path("a.html"), folder.path("a.md")];
    let runs: [&[&str]; 12] = [
        &["read", &path, REQUEST],
        &["read", &path, REQUEST, "--brief"],
        &["read", &path, "--csv"],
        &["read", &path, "--json"],
        &["read", "--color", "always", &path, REQUEST],
        &["diagnose", &path],
        &["diagnose", &path, "--digits", "1", "--report", &pages[0]],
        &["diagnose", &path, "--digits", "1", "--report", &pages[1]],
        &["diagnose", &missing],
        &["read", "--file", &missing],
        &["tap", "--record", &missing, "--relay", NASTY],
        &["lesson", "--level", NASTY],
    ];
    for args in runs {
        let output = run(args);
        let colour = args.contains(&"--color");
        let out = if colour {
            // What this program paints with is its own.
            let text = String::from_utf8_lossy(&output.stdout).into_owned();
            assert!(!text.contains("\u{1b}]"), "{text:?}");
            text.replace("\u{1b}[", "").into_bytes()
        } else {
            output.stdout.clone()
        };
        is_clean(&out);
        is_clean(
            &String::from_utf8_lossy(&output.stderr)
                .replace("\u{1b}[1m", "")
                .replace("\u{1b}[0m", "")
                .into_bytes(),
        );
    }
    for page in pages {
        is_clean(&std::fs::read(page).unwrap());
    }
    // A script gets the name as it is.
    let json = run(&["read", &path, "--json"]).stdout;
    let json: serde_json::Value =
        serde_json::from_slice(json.split(|b| *b == b'\n').next().unwrap()).unwrap();
    assert_eq!(json["input"]["name"].as_str(), Some(&*path));
}

#[test]
fn a_name_cannot_forge_a_line() {
    let folder = Folder::new("forge");
    let path = folder.file("a\nerror: the key is wrong\n", "not a frame\n");
    let output = run(&["read", "--file", &path]);
    let words = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(!words.lines().any(|line| line.starts_with("error: the key is wrong")), "{words}");
}

#[test]
fn cells_of_a_table_compute_nothing() {
    let folder = Folder::new("cells");
    for name in ["=1+1", "+1+1", "-1+1", "@SUM(1)", "\tx"] {
        folder.file(name, format!("{REQUEST}\n"));
        let output = handfast(&["read", "--csv", &format!("--file={name}")])
            .current_dir(&folder.0)
            .output()
            .unwrap();
        let text = String::from_utf8(output.stdout).unwrap();
        let row = text.lines().nth(1).unwrap();
        assert!(row.starts_with("\"'"), "{name:?}: {row}");
    }
    // A number stays a number.
    let capture = r#"{"rxpk":[{"freq":868.1,"datr":"SF7BW125","rssi":-84,"lsnr":-7.5,"stat":1,"data":"AAEACwv+/wAAAjwrGv7/AAACAgEuJpz1"}]}"#;
    let capture = folder.file("numbers.ndjson", capture);
    let text = String::from_utf8(run(&["read", "--csv", &capture]).stdout).unwrap();
    assert!(text.contains(",-84,-7.5,"), "{text}");
}

#[test]
fn a_key_in_the_wrong_place_is_not_repeated() {
    let folder = Folder::new("keys");
    let capture = folder.file("c.txt", format!("{REQUEST}\n"));
    let named = format!("[[node]]\nname = '{KEY}'\n[node.record]\ndev-eui = '020000fffe1a2b3c'\n");
    let named = folder.file("named.toml", named);
    let table = folder.file("table.csv", format!("name,DevEUI\n{KEY},020000fffe1a2b3c\n"));
    let by_file =
        folder.file("file.toml", format!("[[node]]\n[node.record]\napp-key-file = '{KEY}'\n"));
    let by_env =
        folder.file("env.toml", format!("[[node]]\n[node.record]\napp-key-env = '{KEY}'\n"));
    let lower = KEY.to_lowercase();
    let output = folder.path("new");
    let report = folder.path("a.html");
    let runs: [&[&str]; 16] = [
        &["diagnose", KEY],
        &["diagnose", &capture, "--roster", KEY],
        &["diagnose", &capture, "--roster", &lower],
        &["diagnose", &capture, "--roster", &named, "--digits", "1", "--report", &report],
        &["diagnose", &capture, "--roster", &by_file],
        &["diagnose", &capture, "--roster", &by_env],
        &["diagnose", &capture, "--records", &table],
        &["diagnose", &capture, "--node", KEY],
        &["diagnose", &capture, "--console", &format!("{KEY}=x")],
        &["read", REQUEST, "--app-key-env", KEY],
        &["read", REQUEST, "--app-key-file", KEY],
        &["read", "--file", KEY],
        &["read", REQUEST, "--gateway", KEY],
        &["tap", "--allow", KEY],
        &["roster", "new", KEY, "--output", &output],
        &["airtime", &lower, "--size", "23"],
    ];
    for args in runs {
        let run = run(args);
        let all = format!("{}{}", String::from_utf8_lossy(&run.stdout), said(&run)).to_uppercase();
        assert!(!all.contains(KEY), "{args:?}: {all}");
        assert_eq!(run.status.code(), Some(2), "{args:?}: {all}");
    }
    let page = std::fs::read_to_string(report).unwrap().to_uppercase();
    assert!(!page.contains(KEY));
    assert!(!std::path::Path::new(&output).exists(), "nothing is named after it");
}
