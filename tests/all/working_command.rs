//! `diagnose --working` through the binary: keys stay hidden until they are asked for.

use std::process::Command;

#[test]
fn the_working_of_a_verdict_hides_keys_until_they_are_asked_for() {
    let roster = include_str!("../../src/demo/orchard.toml");
    let digits = roster
        .split('"')
        .filter(|word| word.len() == 32 && word.bytes().all(|digit| digit.is_ascii_hexdigit()));
    let keys: Vec<String> = digits
        .map(|key| key.as_bytes().chunks(2).map(|pair| std::str::from_utf8(pair).unwrap()))
        .map(|pairs| pairs.collect::<Vec<_>>().join(" ").to_uppercase())
        .collect();
    assert!(keys.len() > 10, "{} keys", keys.len());
    let shown = |args: &[&str]| {
        let run = Command::new(env!("CARGO_BIN_EXE_handfast"))
            .args(["diagnose", "--demo", "--digits", "1", "--working"])
            .args(args)
            .output()
            .unwrap();
        let text = String::from_utf8(run.stdout).unwrap();
        assert!(text.lines().all(|line| line.chars().count() <= 80 || args.contains(&"--json")));
        (text, String::from_utf8(run.stderr).unwrap())
    };
    let seen = |text: &str| keys.iter().filter(|key| text.contains(*key)).count();
    let (text, words) = shown(&[]);
    assert_eq!(seen(&text), 0);
    assert!(text.contains("MIC of the Join-Request under AppKey") && text.contains("(hidden)"));
    assert!(words.contains("--show-keys shows them"), "{words}");
    let (text, words) = shown(&["--show-keys"]);
    assert!(seen(&text) > 5 && !text.contains("(hidden)"));
    assert!(words.contains("caution"), "{words}");
    let (text, _) = shown(&["--json"]);
    let bare: Vec<String> = keys.iter().map(|key| key.replace(' ', "").to_lowercase()).collect();
    assert!(bare.iter().all(|key| !text.contains(key)) && text.contains("\"output\":null"));
}
