//! A small WebDriver client: JSON over HTTP/1.1 to the driver that Debian packs with Chromium
//! (W3C WebDriver, <https://www.w3.org/TR/webdriver2/>).

use std::{
    io::{BufRead, BufReader, Read, Write},
    net::TcpStream,
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    sync::atomic::{AtomicU32, Ordering},
    time::Duration,
};

use base64::{Engine, engine::general_purpose::STANDARD};
use serde_json::{Value, json};

/// A browser of its own, with a profile of its own; both end with this value.
pub(crate) struct Browser {
    driver: Child,
    port: u16,
    session: String,
    profile: PathBuf,
}

static SERIAL: AtomicU32 = AtomicU32::new(0);

impl Browser {
    pub(crate) fn start() -> Self {
        let serial = SERIAL.fetch_add(1, Ordering::Relaxed);
        let name = format!("handfast-browser-{}-{serial}", std::process::id());
        let profile = std::env::temp_dir().join(name);
        std::fs::create_dir_all(&profile).unwrap();
        let mut driver = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver: apt-get install chromium chromium-driver");
        let port = port(&mut driver);
        let mut browser = Self { driver, port, session: String::new(), profile };
        let mut args: Vec<String> = [
            "--headless",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--hide-scrollbars",
            "--window-size=1100,900",
        ]
        .map(str::to_owned)
        .to_vec();
        args.push(format!("--user-data-dir={}", browser.profile.display()));
        let wanted = json!({ "capabilities": { "alwaysMatch": {
            "goog:chromeOptions": { "args": args },
            "goog:loggingPrefs": { "browser": "ALL", "performance": "ALL" },
        } } });
        let made = browser.http("POST", "/session", Some(&wanted));
        made["sessionId"].as_str().expect("a session").clone_into(&mut browser.session);
        browser
    }

    /// Opens a file and waits until it is loaded.
    pub(crate) fn open(&self, file: &Path) {
        self.post("/url", &json!({ "url": format!("file://{}", file.display()) }));
    }

    /// Leaves the page, the browser's own first one too, and forgets what the logs have of it.
    pub(crate) fn forget(&self) {
        self.post("/url", &json!({ "url": "about:blank" }));
        self.log("performance");
        self.log("browser");
    }

    /// Runs a script and returns what it returns.
    pub(crate) fn run(&self, script: &str) -> Value {
        self.post("/execute/sync", &json!({ "script": script, "args": [] }))
    }

    /// Returns the elements that a selector finds, as the driver names them.
    pub(crate) fn elements(&self, css: &str) -> Vec<String> {
        let wanted = json!({ "using": "css selector", "value": css });
        let found = self.post("/elements", &wanted);
        let name =
            |element: &Value| element.as_object()?.values().next()?.as_str().map(String::from);
        found.as_array().expect("a list").iter().filter_map(name).collect()
    }

    /// Returns an element's name as the browser computes it for a screen reader.
    pub(crate) fn computed_label(&self, element: &str) -> String {
        let path = format!("/session/{}/element/{element}/computedlabel", self.session);
        self.http("GET", &path, None).as_str().unwrap_or_default().to_owned()
    }

    /// Moves the pointer to the middle of an element that is in view.
    pub(crate) fn point_at(&self, element: &str) {
        let origin = json!({ "element-6066-11e4-a52e-4f735466cecf": element });
        let step =
            json!({ "type": "pointerMove", "duration": 0, "x": 0, "y": 0, "origin": origin });
        self.pointer(&step);
    }

    /// Moves the pointer to a place of the window.
    pub(crate) fn point_to(&self, x: u32, y: u32) {
        self.pointer(&json!({ "type": "pointerMove", "duration": 0, "x": x, "y": y }));
    }

    fn pointer(&self, step: &Value) {
        let source = json!({ "type": "pointer", "id": "mouse", "actions": [step] });
        self.post("/actions", &json!({ "actions": [source] }));
    }

    /// Presses and releases a key: the character that WebDriver has for it.
    pub(crate) fn press(&self, key: char) {
        let steps = json!([{ "type": "keyDown", "value": key }, { "type": "keyUp", "value": key }]);
        let source = json!({ "type": "key", "id": "keyboard", "actions": steps });
        self.post("/actions", &json!({ "actions": [source] }));
    }

    /// A screen of that many CSS pixels.
    pub(crate) fn screen(&self, width: u32, height: u32, mobile: bool) {
        let metrics = json!({
            "width": width, "height": height, "deviceScaleFactor": 1, "mobile": mobile,
        });
        self.devtools("Emulation.setDeviceMetricsOverride", &metrics);
    }

    /// What the user prefers, and on which medium the page is shown: `screen` or `print`.
    pub(crate) fn media(&self, scheme: &str, medium: &str) {
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        let media = json!({ "media": medium, "features": features });
        self.devtools("Emulation.setEmulatedMedia", &media);
    }

    /// Calls the browser itself, where WebDriver has no word for something.
    pub(crate) fn devtools(&self, method: &str, params: &Value) -> Value {
        self.post("/goog/cdp/execute", &json!({ "cmd": method, "params": params }))
    }

    /// Returns a PNG of the window.
    pub(crate) fn screenshot(&self) -> Vec<u8> {
        let path = format!("/session/{}/screenshot", self.session);
        let picture = self.http("GET", &path, None);
        STANDARD.decode(picture.as_str().expect("a picture")).unwrap()
    }

    /// Returns the page as a PDF.
    pub(crate) fn print(&self) -> Vec<u8> {
        let pdf = self.post("/print", &json!({ "background": true }));
        STANDARD.decode(pdf.as_str().expect("a document")).unwrap()
    }

    /// Returns and forgets the lines of a log: `browser` or `performance`.
    pub(crate) fn log(&self, kind: &str) -> Vec<Value> {
        let lines = self.post("/se/log", &json!({ "type": kind }));
        lines.as_array().expect("a list").clone()
    }

    fn post(&self, path: &str, body: &Value) -> Value {
        self.http("POST", &format!("/session/{}{path}", self.session), Some(body))
    }

    fn http(&self, method: &str, path: &str, body: Option<&Value>) -> Value {
        let body = body.map(Value::to_string).unwrap_or_default();
        let mut stream = TcpStream::connect(("127.0.0.1", self.port)).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        write!(
            stream,
            "{method} {path} HTTP/1.1\r\nHost: 127.0.0.1:{}\r\nConnection: close\r\n\
             Content-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}",
            self.port,
            body.len()
        )
        .unwrap();
        let answer: Value = serde_json::from_slice(&answer(stream)).expect("JSON");
        let value = answer["value"].clone();
        assert!(value.get("error").is_none(), "{method} {path}: {value}");
        value
    }
}

/// The body of an answer.
fn answer(stream: TcpStream) -> Vec<u8> {
    let mut reader = BufReader::new(stream);
    let mut length = 0;
    loop {
        let mut line = String::new();
        reader.read_line(&mut line).expect("a head");
        if line.trim().is_empty() {
            break;
        }
        if let Some((name, value)) = line.split_once(':')
            && name.eq_ignore_ascii_case("content-length")
        {
            length = value.trim().parse().expect("a length");
        }
    }
    let mut body = vec![0; length];
    reader.read_exact(&mut body).expect("a body");
    body
}

/// The port that the driver chose, which it says when it is ready.
fn port(driver: &mut Child) -> u16 {
    let out = driver.stdout.take().expect("a pipe");
    for line in BufReader::new(out).lines() {
        let line = line.expect("the driver's words");
        if let Some((_, port)) = line.split_once("started successfully on port ") {
            return port.trim_end_matches('.').parse().expect("a port");
        }
    }
    panic!("the driver did not start");
}

impl Drop for Browser {
    fn drop(&mut self) {
        if !self.session.is_empty() {
            let path = format!("/session/{}", self.session);
            // A test that panics must not panic again in here.
            let ended = std::panic::AssertUnwindSafe(|| self.http("DELETE", &path, None));
            let _ = std::panic::catch_unwind(ended);
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
        let _ = std::fs::remove_dir_all(&self.profile);
    }
}
