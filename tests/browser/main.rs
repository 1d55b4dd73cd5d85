//! The report in a real browser: pointer, keyboard, phone, dark, paper; nothing loaded, nothing said
//! on the console, every text legible, every control named.
//!
//! `cargo test --features browser --test browser`, with Debian's `chromium` and `chromium-driver`.
//! `HANDFAST_PICTURES=folder` with `-- --ignored` saves pictures to look at.

mod driver;
mod pages;

use std::sync::{Mutex, MutexGuard, PoisonError};

use driver::Browser;
use serde_json::Value;

/// WebDriver's characters for keys (<https://www.w3.org/TR/webdriver2/#keyboard-actions>).
const TAB: char = '\u{e004}';
const END: char = '\u{e010}';
const HOME: char = '\u{e011}';
const LEFT: char = '\u{e012}';
const UP: char = '\u{e013}';
const RIGHT: char = '\u{e014}';
const DOWN: char = '\u{e015}';

/// One browser at a time: two cores are not many.
fn turn() -> MutexGuard<'static, ()> {
    static TURN: Mutex<()> = Mutex::new(());
    TURN.lock().unwrap_or_else(PoisonError::into_inner)
}

fn text(browser: &Browser, script: &str) -> String {
    browser.run(script).as_str().unwrap_or_default().to_owned()
}

const SAY: &str = "return document.querySelector('#node-2 .say').textContent";

#[test]
fn an_octet_answers_the_pointer() {
    let _turn = turn();
    let browser = Browser::start();
    browser.open(&pages::demo());
    let hint = text(&browser, SAY);
    assert!(hint.starts_with("Point at a byte"), "{hint}");
    browser.run("document.querySelector('#node-2 .strip').scrollIntoView({block: 'center'})");
    // probe-02's DevEUI as sent begins at octet 9.
    let octets = browser.elements("#node-2 .octets:first-of-type .o");
    browser.point_at(&octets[9]);
    let said = text(&browser, SAY);
    assert!(said.starts_with("Byte 9 of bytes 9\u{2013}16, "), "{said}");
    assert!(said.contains("DevEUI B9-01-C6-FE-FF-00-00-02; identifier of the node"), "{said}");
    let lit = text(&browser, "return document.querySelector('#node-2 tr.here').textContent");
    assert!(lit.contains("DevEUI"), "{lit}");
    browser.point_to(5, 5);
    assert_eq!(text(&browser, SAY), hint);
}

#[test]
fn octets_answer_the_keyboard() {
    let _turn = turn();
    let browser = Browser::start();
    browser.open(&pages::demo());
    let at = || text(&browser, "return document.activeElement.getAttribute('aria-label')");
    // From the last link before the frames, Tab comes to the first octet, and to one octet only.
    browser.run("document.querySelector('#node-2 summary').focus()");
    browser.press(TAB);
    assert_eq!(at(), "byte 0, 00: MHDR");
    assert!(text(&browser, SAY).starts_with("Byte 0, 00, bits 7-0 00000000: MHDR Join-Request"));
    browser.press(RIGHT);
    assert!(at().ends_with(": JoinEUI"), "{}", at());
    browser.press(LEFT);
    browser.press(LEFT);
    assert_eq!(at(), "byte 0, 00: MHDR", "there is nothing to the left of the first");
    browser.press(END);
    assert!(at().starts_with("byte 22, ") && at().ends_with(": MIC"), "{}", at());
    browser.press(HOME);
    assert_eq!(at(), "byte 0, 00: MHDR");
    let selected = "return document.querySelectorAll('#node-2 [aria-selected=true]').length";
    assert_eq!(browser.run(selected), 1);
    // On a phone the octets stand in several lines.
    browser.screen(390, 844, true);
    let top = || {
        let top = "return document.activeElement.getBoundingClientRect().top + scrollY";
        browser.run(top).as_f64().unwrap()
    };
    let (first, before) = (at(), top());
    browser.press(DOWN);
    assert!(top() > before, "{} is below {first}", at());
    browser.press(UP);
    assert_eq!(at(), first);
    // Tab leaves the octets instead of walking through them all.
    browser.press(TAB);
    let inside = "return document.querySelector('#node-2 .strip').contains(document.activeElement)";
    assert_eq!(browser.run(inside), false);
}

#[test]
fn a_button_copies_the_paragraph_or_marks_it() {
    let _turn = turn();
    let browser = Browser::start();
    browser.open(&pages::demo());
    browser.run("document.querySelector('#node-2 .ticket button').click()");
    for _ in 0..50 {
        let label = text(&browser, "return document.querySelector('#node-2 button').textContent");
        if label == "Copied" {
            return;
        }
        if label == "Selected: now copy" {
            let marked = text(&browser, "return getSelection().toString()");
            assert!(marked.starts_with("probe-02 (DevEUI"), "{marked}");
            return;
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    panic!("the button does nothing");
}

#[test]
fn nothing_is_wider_than_a_phone() {
    let _turn = turn();
    let browser = Browser::start();
    for page in [pages::demo(), pages::with_keys(), pages::hostile(), pages::fixed_plan()] {
        browser.open(&page);
        for width in [390, 320] {
            browser.screen(width, 844, true);
            let wide =
                browser.run("return document.scrollingElement.scrollWidth").as_u64().unwrap();
            assert!(wide <= u64::from(width), "{}: {wide} of {width}", page.display());
            let out = browser.run(OUTSIDE);
            assert_eq!(out, Value::Array(Vec::new()), "{} at {width}", page.display());
        }
    }
}

/// Elements whose letters stand beyond the edges of the window.
const OUTSIDE: &str = "
    return [...document.querySelectorAll('body *')].filter((e) => {
        if (!e.textContent.trim() || e.closest('thead, .unseen, script')) return false;
        const box = e.getBoundingClientRect();
        return box.width > 0 && (box.right > innerWidth + 1 || box.left < -1);
    }).map((e) => `${e.tagName}.${e.className.baseVal ?? e.className}: ${e.textContent.trim()}`);";

#[test]
fn letters_of_a_drawing_do_not_run_into_each_other() {
    let _turn = turn();
    let browser = Browser::start();
    for page in [pages::demo(), pages::fixed_plan()] {
        browser.open(&page);
        for width in [1100, 390] {
            browser.screen(width, 900, width == 390);
            let met = browser.run(COLLISIONS);
            assert_eq!(met, Value::Array(Vec::new()), "{} at {width}", page.display());
        }
    }
}

const COLLISIONS: &str = "
    const met = [];
    for (const svg of document.querySelectorAll('figure > svg')) {
        const all = [...svg.querySelectorAll('text')].map((t) => [t.textContent, t.getBoundingClientRect()]);
        all.forEach(([a, x], i) => all.slice(i + 1).forEach(([b, y]) => {
            const over = Math.min(x.right, y.right) - Math.max(x.left, y.left);
            const down = Math.min(x.bottom, y.bottom) - Math.max(x.top, y.top);
            if (over > 0 && down > 4) met.push(`${a} / ${b}`);
        }));
    }
    return met;";

#[test]
fn every_text_is_legible_in_light_and_dark() {
    let _turn = turn();
    let browser = Browser::start();
    for page in [pages::demo(), pages::with_keys(), pages::hostile()] {
        browser.open(&page);
        for scheme in ["light", "dark"] {
            browser.media(scheme, "screen");
            let paper = browser.run("return luminance(getComputedStyle(document.body).backgroundColor);
                function luminance(c) { return c.match(/[0-9]+/g).slice(0, 3).reduce((a, b) => a + +b, 0); }");
            assert_eq!(paper.as_u64().unwrap() < 200, scheme == "dark", "{scheme}");
            // An octet under the pointer has another background.
            browser.run("document.querySelector('.o')?.focus()");
            let seen = browser.run(CONTRAST);
            assert!(seen["texts"].as_u64().unwrap() > 50, "{seen}");
            assert_eq!(seen["faint"], Value::Array(Vec::new()), "{} {scheme}", page.display());
        }
    }
}

/// The contrast of every text with what is behind it (WCAG 2.2, relative luminance and contrast
/// ratio), bands of drawings included.
const CONTRAST: &str = "
    const parse = (c) => c.match(/[0-9.]+/g).map(Number);
    const lum = (c) => {
        const [r, g, b] = parse(c).slice(0, 3).map((v) => v / 255)
            .map((v) => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
        return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const ratio = (a, b) => {
        const [x, y] = [lum(a), lum(b)].sort((p, q) => q - p);
        return (x + 0.05) / (y + 0.05);
    };
    const solid = (c) => { const p = parse(c); return p.length < 4 || p[3] === 1; };
    const behind = (e) => {
        for (; e; e = e.parentElement) {
            const c = getComputedStyle(e).backgroundColor;
            if (solid(c)) return c;
        }
        return 'rgb(255, 255, 255)';
    };
    const faint = new Set();
    let texts = 0;
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node; node = walk.nextNode();) {
        const e = node.parentElement;
        if (!node.textContent.trim() || ['SCRIPT', 'STYLE'].includes(e.tagName)) continue;
        if (!e.checkVisibility()) continue;
        texts += 1;
        const style = getComputedStyle(e);
        const svg = e.closest('svg');
        const ink = svg ? style.fill : style.color;
        const papers = [behind(svg ? svg.parentElement : e)];
        if (svg) papers.push(...[...svg.querySelectorAll('.band')].map((b) => getComputedStyle(b).fill));
        for (const paper of papers) {
            const r = ratio(ink, paper);
            if (r < 4.5) faint.add(`${e.tagName} ${e.className.baseVal ?? e.className}: ${r.toFixed(2)}`);
        }
    }
    return { texts, faint: [...faint] };";

#[test]
fn every_control_and_drawing_has_a_name() {
    let _turn = turn();
    let browser = Browser::start();
    browser.open(&pages::demo());
    let controls = browser.elements("a, button, summary, svg[role=img], [role=listbox], nav");
    assert!(controls.len() > 80, "{}", controls.len());
    for control in controls {
        assert!(!browser.computed_label(&control).trim().is_empty());
    }
    let options = browser.elements("#node-6 [role=option]");
    assert!(options.len() > 80);
    for option in options {
        assert!(browser.computed_label(&option).starts_with("byte "));
    }
    let unnamed = "return [...document.querySelectorAll('[tabindex], [role=option], [role=group]')]
        .filter((e) => !e.getAttribute('aria-label')).length";
    assert_eq!(browser.run(unnamed), 0);
    let twice = "const ids = [...document.querySelectorAll('[id]')].map((e) => e.id);
        return ids.length - new Set(ids).size";
    assert_eq!(browser.run(twice), 0, "an id twice");
    let dead = "return [...document.querySelectorAll('a')]
        .filter((a) => !document.getElementById(a.hash.slice(1))).length";
    assert_eq!(browser.run(dead), 0, "a link to nowhere");
}

#[test]
fn nothing_is_loaded_and_nothing_complained_of() {
    let _turn = turn();
    let browser = Browser::start();
    for page in [pages::demo(), pages::with_keys(), pages::hostile(), pages::fixed_plan()] {
        browser.forget();
        browser.open(&page);
        let octets = browser.elements(".o");
        browser.run("document.querySelector('.o')?.focus()");
        browser.run("document.querySelector('[data-copy]')?.click()");
        assert!(!octets.is_empty());
        assert_eq!(browser.run("return performance.getEntriesByType('resource').length"), 0);
        let asked: Vec<String> = browser
            .log("performance")
            .iter()
            .filter_map(|line| serde_json::from_str::<Value>(line["message"].as_str()?).ok())
            .filter(|event| event["message"]["method"] == "Network.requestWillBeSent")
            .filter_map(|e| e["message"]["params"]["request"]["url"].as_str().map(String::from))
            .collect();
        assert_eq!(asked, [format!("file://{}", page.display())]);
        let complaints = browser.log("browser");
        assert!(complaints.is_empty(), "{}: {complaints:?}", page.display());
    }
}

#[test]
fn the_policy_stops_what_is_not_the_programs_own() {
    let _turn = turn();
    let browser = Browser::start();
    browser.open(&pages::demo());
    browser.run(
        "const s = document.createElement('script'); s.textContent = 'window.ran = 1';
        document.body.append(s);
        const i = document.createElement('img'); i.src = 'http://127.0.0.1:9/x.png';
        document.body.append(i);",
    );
    assert_eq!(browser.run("return window.ran === undefined"), true);
    let refused = browser.log("browser");
    let said = |word: &str| refused.iter().any(|l| l["message"].as_str().unwrap().contains(word));
    assert!(said("script-src") && said("Content Security Policy"), "{refused:?}");
}

#[test]
fn hostile_names_stay_text() {
    let _turn = turn();
    let browser = Browser::start();
    browser.open(&pages::hostile());
    assert_eq!(browser.run("return window.pwned === undefined"), true);
    assert_eq!(browser.run("return document.scripts.length"), 1);
    assert_eq!(browser.run("return document.querySelectorAll('img, iframe, object, b').length"), 0);
    let names = text(&browser, "return document.querySelector('nav').textContent");
    assert!(names.contains(pages::HOSTILE_NAME), "{names}");
    // The names of groups and strips are made by the script, from text.
    browser.run("document.querySelector('.o').focus()");
    assert_eq!(browser.run("return window.pwned === undefined"), true);
}

#[test]
fn paper_has_all_of_it_and_is_light() {
    let _turn = turn();
    let browser = Browser::start();
    browser.open(&pages::demo());
    browser.media("dark", "print");
    let paper = text(&browser, "return getComputedStyle(document.body).backgroundColor");
    assert_eq!(paper, "rgb(255, 255, 255)", "dark is for screens");
    let hidden = "return [...document.querySelectorAll('.say, button, .back')]
        .filter((e) => e.checkVisibility()).length";
    assert_eq!(browser.run(hidden), 0);
    let shown = "return [...document.querySelectorAll('table.fields, .ladder, figure > svg')]
        .every((e) => e.checkVisibility())";
    assert_eq!(browser.run(shown), true);
    let pdf = browser.print();
    assert!(pdf.starts_with(b"%PDF-"));
    // Every node begins on a sheet of its own.
    let pages = pages::count(&pdf, b"/Type /Page\n") + pages::count(&pdf, b"/Type /Page ");
    assert!(pages >= 9, "{pages} sheets");
}

#[test]
#[ignore = "saves pictures for people to look at"]
fn pictures() {
    let folder = std::env::var("HANDFAST_PICTURES").expect("HANDFAST_PICTURES: a folder");
    let folder = std::path::Path::new(&folder);
    let browser = Browser::start();
    browser.open(&pages::demo());
    for (name, scheme, width, height) in [
        ("desktop", "light", 1000, 1500),
        ("dark", "dark", 1000, 1500),
        ("phone", "light", 390, 1500),
    ] {
        browser.media(scheme, "screen");
        browser.screen(width, height, width == 390);
        for place in ["top", "node-3", "node-6", "node-8"] {
            for part in 0..4 {
                browser.run(&format!(
                    "document.getElementById('{place}').scrollIntoView();
                     window.scrollBy(0, {})",
                    part * height
                ));
                let picture = browser.screenshot();
                std::fs::write(folder.join(format!("{name}-{place}-{part}.png")), picture).unwrap();
                if place == "top" {
                    break;
                }
            }
        }
    }
    // The README's, whose colours are then brought down to 64.
    browser.media("light", "screen");
    browser.screen(900, 1240, false);
    browser.run("document.getElementById('node-6').scrollIntoView()");
    std::fs::write(folder.join("report.png"), browser.screenshot()).unwrap();
    browser.media("light", "");
    std::fs::write(folder.join("print.pdf"), browser.print()).unwrap();
}
