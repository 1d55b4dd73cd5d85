//! Lessons: the same everywhere, computed, and marked with a reason.

use std::{
    fs,
    process::{Command, Output, Stdio},
};

use handfast::{
    lesson::{Given, Lesson, Level, Mark, Order, Question, Sheet, Value, mark},
    show::{
        Style,
        lesson::{Side, html, json, text},
    },
};

fn lesson(seed: u64, level: Level, count: u8) -> Lesson {
    Lesson::new(Order::new(seed, level, count).unwrap())
}

/// An exercise: its octets, its values by name, its questions.
type Shown = (Vec<u8>, Vec<(String, String)>, Vec<Question>);

/// Exercises of some kind, of several seeds.
fn of_kind(kind: &str) -> Vec<Shown> {
    let mut out = Vec::new();
    for level in Level::ALL {
        for seed in 0..6 {
            for exercise in lesson(seed, level, 12).exercises.iter().filter(|e| e.kind == kind) {
                let octets = exercise.given.iter().find_map(|given| match given {
                    Given::Octets(octets) => Some(octets.clone()),
                    _ => None,
                });
                let values = exercise.given.iter().filter_map(|given| match given {
                    Given::Value { name, value, .. } => Some((name.clone(), value.clone())),
                    _ => None,
                });
                let questions = exercise.questions.clone();
                out.push((octets.unwrap_or_default(), values.collect(), questions));
            }
        }
    }
    assert!(out.len() > 3, "{kind}");
    out
}

fn right(question: &Question) -> String {
    question.answer.right.text()
}

fn value<'a>(values: &'a [(String, String)], name: &str) -> &'a str {
    &values.iter().find(|(own, _)| own == name).unwrap().1
}

fn turned(octets: &[u8]) -> String {
    hex::encode_upper(octets.iter().rev().copied().collect::<Vec<u8>>())
}

fn cmac(key: &str, message: &[u8]) -> Vec<u8> {
    use cmac::{KeyInit, Mac};
    let key = hex::decode(key).unwrap();
    let mut mac = cmac::Cmac::<aes::Aes128>::new_from_slice(&key).unwrap();
    mac.update(message);
    mac.finalize().into_bytes()[..4].to_vec()
}

#[test]
fn an_order_makes_one_lesson_and_all_of_it() {
    for level in Level::ALL {
        for seed in 0..12 {
            let made = lesson(seed, level, 7);
            assert_eq!(made, lesson(seed, level, 7));
            assert_eq!(made.exercises.len(), 7, "seed {seed}, level {}", level.number());
            let mut kinds: Vec<&str> = made.exercises.iter().take(5).map(|e| e.kind).collect();
            kinds.sort_unstable();
            kinds.dedup();
            assert_eq!(kinds.len(), 5, "no kind comes twice before all came");
        }
        assert_ne!(lesson(1, level, 5).print(), lesson(2, level, 5).print());
    }
}

#[test]
fn the_answer_sheet_is_all_right_and_the_empty_sheet_all_missing() {
    for level in Level::ALL {
        for seed in 20..28 {
            let made = lesson(seed, level, 7);
            for (side, wanted) in [(Side::Answers, Mark::Right), (Side::Exercises, Mark::Missing)] {
                let mut shown = String::new();
                text(&made, side, Style::PLAIN, &mut shown).unwrap();
                let sheet: Sheet = shown.parse().unwrap();
                assert_eq!(sheet.faults(&made), []);
                for marked in mark(&made, &sheet) {
                    assert_eq!(marked.mark, wanted, "seed {seed}: {:?}", marked.question);
                }
            }
        }
    }
}

#[test]
fn every_slip_is_wrong_and_told_and_every_question_has_its_working() {
    for level in Level::ALL {
        for seed in 0..8 {
            for question in lesson(seed, level, 7).questions() {
                assert!(!question.working.is_empty(), "{question:?}");
                for slip in &question.answer.slips {
                    let text = slip.value.text();
                    let Mark::Wrong(Some(why)) = question.answer.mark(&text) else {
                        panic!("seed {seed}, {text}: {question:?}");
                    };
                    assert!(why.len() > 8, "{why}");
                }
                for nonsense in ["?", "\u{202e}", "-", "0x", "99999999999999999999999", "é.,;"] {
                    assert!(
                        matches!(question.answer.mark(nonsense), Mark::Wrong(_)),
                        "{question:?}"
                    );
                }
            }
        }
    }
}

#[test]
fn a_sheet_fits_the_screen_and_a_page_needs_nothing() {
    for level in Level::ALL {
        for side in [Side::Exercises, Side::Answers] {
            let made = lesson(5, level, 7);
            let mut shown = String::new();
            text(&made, side, Style::PLAIN, &mut shown).unwrap();
            for line in shown.lines() {
                assert!(line.chars().count() <= 80 && !line.contains('\x1b'), "{line}");
            }
            let page = html(&made, side);
            for foreign in ["<script", "http:", "https:", "<link", "url(", "@import", "<img"] {
                assert!(!page.contains(foreign), "{foreign}");
            }
            assert!(page.contains("@media print") && page.contains(&made.head()));
            for question in made.questions() {
                assert!(page.contains(&format!("[{}]", question.id)));
            }
            let mut lines = String::new();
            json(&made, side, &mut lines).unwrap();
            for line in lines.lines() {
                let value: serde_json::Value = serde_json::from_str(line).unwrap();
                let answer = &value["questions"][0]["answer"];
                assert_eq!(answer.is_string(), side == Side::Answers);
            }
        }
    }
}

#[test]
fn keys_are_shown_at_level_3_alone() {
    assert!(!lesson(1, Level::Fields, 7).shows_keys() && !lesson(1, Level::Rules, 7).shows_keys());
    assert!(lesson(1, Level::Keys, 7).shows_keys());
}

// What follows computes answers anew, by slices and by the general-purpose crate `cmac`, from the
// layouts of LoRaWAN 1.0.4: Join-Request p. 45, data frame p. 17-24, B0 p. 24.

#[test]
fn the_fields_are_where_the_standard_puts_them() {
    for (octets, _, questions) in of_kind("join-request") {
        assert_eq!(right(&questions[1]), turned(&octets[1..9]));
        assert_eq!(right(&questions[2]), turned(&octets[9..17]));
        let nonce = u16::from_le_bytes([octets[17], octets[18]]);
        assert_eq!(right(&questions[3]), nonce.to_string());
    }
    for (octets, _, questions) in of_kind("data-header") {
        let fopts = usize::from(octets[5] & 0x0F);
        assert_eq!(right(&questions[1]), turned(&octets[1..5]));
        let fcnt = u16::from_le_bytes([octets[6], octets[7]]);
        assert_eq!(right(&questions[2]), fcnt.to_string());
        assert_eq!(right(&questions[3]), octets[8 + fopts].to_string());
        assert_eq!(right(&questions[4]), (octets.len() - 8 - fopts - 1 - 4).to_string());
    }
    for (octets, _, questions) in of_kind("frame-control") {
        assert_eq!(right(&questions[1]), (octets[5] & 0x0F).to_string());
        assert_eq!(right(&questions[2]), (8 + (octets[5] & 0x0F)).to_string());
        let flags = (octets[5] >> 4).count_ones() as usize;
        let Value::Set(names) = &questions[0].answer.right else { panic!() };
        assert_eq!(names.len(), flags);
    }
}

#[test]
fn the_key_that_checks_is_the_one_whose_cmac_agrees() {
    let mut none = 0;
    for (octets, values, questions) in of_kind("which-key") {
        let (signed, mic) = octets.split_at(19);
        let holds = values.iter().find(|(_, key)| cmac(key, signed) == mic);
        let name = holds.map_or("none", |(name, _)| name.strip_prefix("key ").unwrap());
        assert_eq!(right(&questions[0]), name);
        none += usize::from(name == "none");
    }
    assert!(none > 0, "now and then there is no such key");
}

#[test]
fn the_whole_counter_is_the_one_whose_mic_agrees() {
    for (octets, values, questions) in of_kind("whole-counter") {
        let whole: u32 = right(&questions[0]).parse().unwrap();
        let last: u32 = value(&values, "last counter that the server accepted").parse().unwrap();
        let (signed, mic) = octets.split_at(octets.len() - 4);
        let mut message = vec![0x49, 0, 0, 0, 0, 0];
        message.extend(&octets[1..5]);
        message.extend(whole.to_le_bytes());
        message.extend([0, u8::try_from(signed.len()).unwrap()]);
        message.extend(signed);
        assert_eq!(cmac(value(&values, "NwkSKey"), &message), mic);
        assert_eq!(right(&questions[1]), (whole - last - 1).to_string());
    }
}

#[test]
fn session_keys_are_one_aes_block_each() {
    use aes::cipher::{BlockCipherEncrypt, KeyInit};
    for (_, values, questions) in of_kind("session") {
        let number = |name: &str| value(&values, name).parse::<u32>().unwrap();
        let key = hex::decode(value(&values, "AppKey")).unwrap();
        for (first, question) in [(1u8, &questions[0]), (2, &questions[1])] {
            // 1.0.4, p. 46: first octet, JoinNonce, NetID, DevNonce, zeros.
            let mut block = vec![first];
            block.extend(&number("JoinNonce of the accept").to_le_bytes()[..3]);
            let net_id = u32::from_str_radix(value(&values, "NetID of the accept"), 16).unwrap();
            block.extend(&net_id.to_le_bytes()[..3]);
            block.extend(&number("DevNonce of the request").to_le_bytes()[..2]);
            block.resize(16, 0);
            let mut block = aes::Block::try_from(block.as_slice()).unwrap();
            aes::Aes128::new_from_slice(&key).unwrap().encrypt_block(&mut block);
            assert_eq!(right(question), hex::encode_upper(block));
        }
    }
}

#[test]
fn a_nonce_is_fresh_by_the_rule_of_its_version() {
    let mut seen = [0, 0];
    for (octets, values, questions) in of_kind("fresh-nonce") {
        let nonce = u16::from_le_bytes([octets[17], octets[18]]);
        let list = |name: &str| {
            let found = values.iter().find(|(own, _)| own == name);
            found.map(|(_, v)| v.split(", ").map(|n| n.parse::<u16>().unwrap()).collect::<Vec<_>>())
        };
        let fresh = match value(&values, "LoRaWAN version on record") {
            "1.0.4" => nonce > list("last DevNonce accepted").unwrap()[0],
            _ => !list("DevNonces used before").unwrap().contains(&nonce),
        };
        assert_eq!(right(&questions[1]), if fresh { "yes" } else { "no" });
        seen[usize::from(fresh)] += 1;
    }
    assert!(seen.iter().all(|n| *n > 0), "{seen:?}");
}

#[test]
fn windows_of_eu868_follow_the_uplink() {
    // RP002-1.0.4, 2.4.6: RX1 on the uplink's channel, RX2 869.525 MHz; TS001-1.0.4: 5 s, 1 s.
    let mut seen = 0;
    for (_, values, questions) in of_kind("join-windows") {
        if value(&values, "channel plan") != "EU868" {
            continue;
        }
        let ended = value(&values, "counter at the end of the frame");
        let ended: u32 = ended.strip_suffix(" us").unwrap().parse().unwrap();
        assert_eq!(right(&questions[0]), ended.wrapping_add(5_000_000).to_string());
        assert_eq!(right(&questions[1]), value(&values, "frequency"));
        assert_eq!(right(&questions[2]), value(&values, "data rate"));
        assert_eq!(right(&questions[3]), "869.525 MHz");
        seen += 1;
    }
    assert!(seen > 0);
}

fn run(args: &[&str], input: &[u8]) -> Output {
    use std::io::Write;
    let mut child = Command::new(env!("CARGO_BIN_EXE_handfast"))
        .args(args)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that refuses its input early closes the pipe.
    let _ = child.stdin.take().unwrap().write_all(input);
    child.wait_with_output().unwrap()
}

fn said(octets: &[u8]) -> String {
    String::from_utf8(octets.to_vec()).unwrap()
}

#[test]
fn the_exit_status_tells_right_from_wrong_from_not_understood() {
    let sheet = run(&["lesson", "--seed", "7", "--answers"], b"");
    assert_eq!(sheet.status.code(), Some(0));
    let check = |text: &str| run(&["lesson", "--check", "-"], text.as_bytes());
    let answers = said(&sheet.stdout);
    let all_right = check(&answers);
    assert_eq!(all_right.status.code(), Some(0), "{}", said(&all_right.stdout));
    // Line ends of another system, and a byte order mark, are no mistakes.
    let foreign = format!("\u{feff}{}", answers.replace('\n', "\r\n"));
    assert_eq!(check(&foreign).status.code(), Some(0));
    let (head, _) = answers.split_once('\n').unwrap();
    assert_eq!(check(&format!("{head}\n[1a] answer: nonsense\n")).status.code(), Some(1));
    assert_eq!(check(head).status.code(), Some(1), "nothing is answered");
    for (text, word) in [
        ("", "no line"),
        ("handfast lesson: seed", "seed is not a number"),
        (&format!("{head}\n77q: 5\n")[..], "no question 77q"),
        (&head.replace("seed 7", "seed 8")[..], "other exercises"),
    ] {
        let bad = check(text);
        assert_eq!(bad.status.code(), Some(2), "{text}");
        assert!(said(&bad.stderr).contains(word), "{}", said(&bad.stderr));
    }
    assert_eq!(run(&["lesson", "--check", "-"], &[0xFF; 40]).status.code(), Some(2));
    assert_eq!(run(&["lesson", "--check", "-"], &vec![b'a'; 2 << 20]).status.code(), Some(2));
    assert_eq!(run(&["lesson", "--check", "no-such-file"], b"").status.code(), Some(2));
    assert_eq!(run(&["lesson", "--check", "."], b"").status.code(), Some(2));
    for usage in [&["--level", "4"][..], &["--count", "0"], &["--count", "61"], &["--seed", "-1"]] {
        assert_eq!(run(&[&["lesson"], usage].concat(), b"").status.code(), Some(2), "{usage:?}");
    }
}

#[test]
fn a_byte_order_mistake_is_explained() {
    let (seed, question) = (0..40)
        .find_map(|seed| {
            let made = lesson(seed, Level::Fields, 5);
            let question = made.questions().find(|q| q.ask.starts_with("DevAddr, as people"));
            Some((seed, question?.clone()))
        })
        .unwrap();
    let head = lesson(seed, Level::Fields, 5).head();
    let Value::Octets(octets) = &question.answer.right else { panic!() };
    let sheet = format!("{head}\n[{}] answer: {}\n", question.id, turned(octets));
    let marked = run(&["lesson", "--check", "-"], sheet.as_bytes());
    let shown = said(&marked.stdout).replace("\n      ", " ");
    let why = "you read the DevAddr as sent; it travels least significant byte first";
    assert!(shown.contains(why), "{shown}");
    assert!(shown.contains(&format!("right is {}", hex::encode_upper(octets))), "{shown}");
}

#[test]
fn a_page_is_written_where_asked_and_keys_come_with_a_caution() {
    let folder = std::env::temp_dir().join(format!("handfast-lesson-{}", std::process::id()));
    fs::create_dir_all(&folder).unwrap();
    let file = folder.join("sheet.html");
    let path = file.to_str().unwrap();
    let made = run(&["lesson", "--level", "3", "--html", path], b"");
    assert_eq!(made.status.code(), Some(0));
    assert!(made.stdout.is_empty() && said(&made.stderr).contains("caution: "));
    let on_stdout = run(&["lesson", "--level", "3", "--html", "-"], b"");
    assert_eq!(fs::read(&file).unwrap(), on_stdout.stdout);
    fs::remove_dir_all(&folder).unwrap();
    assert_eq!(run(&["lesson", "--html", path], b"").status.code(), Some(2), "no such folder");
}
