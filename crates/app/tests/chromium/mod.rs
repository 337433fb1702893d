//! A real Chromium, led over its own pipe: pages opened, keys pressed, pictures kept.

#![allow(dead_code, reason = "each test file uses its own part of the harness")]
#![allow(unreachable_pub, reason = "a module of test files")]
#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

use base64::Engine as _;
use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};
use std::time::Duration;

/// A browser with one page.
pub struct Chromium {
    child: Child,
    to: ChildStdin,
    from: BufReader<ChildStdout>,
    next: u64,
    session: String,
    loaded: u64,
    /// Errors that the page reported since the last look.
    pub wrong: Vec<String>,
    _profile: tempfile::TempDir,
}

/// A key with what it types.
fn key_of(name: &str) -> (String, i64, Option<String>) {
    let (code, number, text) = match name {
        "Enter" => ("Enter", 13, Some("\r")),
        "Tab" => ("Tab", 9, None),
        "Escape" => ("Escape", 27, None),
        "ArrowDown" => ("ArrowDown", 40, None),
        "ArrowUp" => ("ArrowUp", 38, None),
        "ArrowRight" => ("ArrowRight", 39, None),
        "F9" => ("F9", 120, None),
        "F8" => ("F8", 119, None),
        "F4" => ("F4", 115, None),
        "F2" => ("F2", 113, None),
        " " => ("Space", 32, Some(" ")),
        other => {
            let upper = other.to_uppercase();
            let number = upper.chars().next().map_or(0, |c| c as i64);
            let code = if other.chars().all(|c| c.is_ascii_digit()) {
                format!("Digit{other}")
            } else {
                format!("Key{upper}")
            };
            return (code, number, Some(other.to_owned()));
        }
    };
    (code.to_owned(), number, text.map(str::to_owned))
}

impl Chromium {
    /// Starts one. `./check` installs it where it is missing.
    pub fn start() -> Self {
        let profile = tempfile::tempdir().unwrap();
        // the browser's pipe is its files 3 and 4
        let script = "exec chromium --headless --no-sandbox --disable-gpu --disable-quic \
             --no-first-run --disable-background-networking --disable-component-update \
             --disable-sync --hide-scrollbars --remote-debugging-pipe \
             --user-data-dir=\"$0\" about:blank 3<&0 4>&1 </dev/null >/dev/null 2>&1";
        let mut child = Command::new("sh")
            .args(["-c", script])
            .arg(profile.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let to = child.stdin.take().unwrap();
        let from = BufReader::new(child.stdout.take().unwrap());
        let mut browser = Self {
            child,
            to,
            from,
            next: 0,
            session: String::new(),
            loaded: 0,
            wrong: Vec::new(),
            _profile: profile,
        };
        browser.open_page();
        browser
    }

    /// Leaves the page for a fresh one, with nothing stored.
    fn open_page(&mut self) {
        self.session.clear();
        let context = self.call("Target.createBrowserContext", json!({}));
        let target = self.call(
            "Target.createTarget",
            json!({"url": "about:blank", "browserContextId": context["browserContextId"]}),
        );
        let attached = self.call(
            "Target.attachToTarget",
            json!({"targetId": target["targetId"], "flatten": true}),
        );
        self.session = attached["sessionId"].as_str().unwrap().to_owned();
        for domain in ["Page", "Runtime", "Log"] {
            self.call(&format!("{domain}.enable"), json!({}));
        }
    }

    /// Asks the browser for something and waits for its answer.
    #[track_caller]
    pub fn call(&mut self, method: &str, params: Value) -> Value {
        match self.ask(method, params) {
            Ok(result) => result,
            Err(error) => panic!("{method}: {error}"),
        }
    }

    fn ask(&mut self, method: &str, params: Value) -> Result<Value, Value> {
        self.next += 1;
        let id = self.next;
        let mut message = json!({"id": id, "method": method, "params": params});
        if !self.session.is_empty() {
            message["sessionId"] = self.session.clone().into();
        }
        self.to.write_all(message.to_string().as_bytes()).unwrap();
        self.to.write_all(&[0]).unwrap();
        self.to.flush().unwrap();
        loop {
            let came = self.receive();
            if came["id"] == id {
                return if came["error"].is_null() {
                    Ok(came["result"].clone())
                } else {
                    Err(came["error"].clone())
                };
            }
        }
    }

    fn receive(&mut self) -> Value {
        let mut raw = Vec::new();
        let n = self.from.read_until(0, &mut raw).unwrap();
        assert!(n > 0, "Chromium does not run; `./check` installs it");
        raw.pop();
        let came: Value = serde_json::from_slice(&raw).unwrap();
        match came["method"].as_str() {
            Some("Page.loadEventFired") => self.loaded += 1,
            Some("Runtime.exceptionThrown") => {
                self.wrong
                    .push(came["params"]["exceptionDetails"].to_string());
            }
            Some("Log.entryAdded") if came["params"]["entry"]["level"] == "error" => {
                self.wrong.push(came["params"]["entry"]["text"].to_string());
            }
            _ => {}
        }
        came
    }

    /// Opens an address and waits until it is loaded.
    pub fn open(&mut self, address: &str) {
        let before = self.loaded;
        self.call("Page.navigate", json!({"url": address}));
        while self.loaded == before {
            self.receive();
        }
    }

    /// What an expression gives.
    #[track_caller]
    pub fn eval(&mut self, expression: &str) -> Value {
        let came = self.call(
            "Runtime.evaluate",
            json!({"expression": expression, "returnByValue": true, "awaitPromise": true}),
        );
        assert!(
            came["exceptionDetails"].is_null(),
            "{}",
            came["exceptionDetails"]
        );
        came["result"]["value"].clone()
    }

    /// Waits until an expression holds.
    #[track_caller]
    pub fn wait(&mut self, expression: &str) {
        // three minutes in all: far more than a page takes on a busy machine
        for _ in 0..3600 {
            // a page that is just being left answers with an error: it is asked again
            let came = self.ask(
                "Runtime.evaluate",
                json!({"expression": format!("Boolean({expression})"), "returnByValue": true}),
            );
            if came.is_ok_and(|c| c["result"]["value"] == true) {
                return;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
        let at = self.eval("location.href + ' ' + document.body.innerText");
        panic!("never came: {expression}\n{at}");
    }

    /// Presses a key.
    pub fn key(&mut self, name: &str) {
        let (code, number, text) = key_of(name);
        let mut down = json!({
            "type": if text.is_some() { "keyDown" } else { "rawKeyDown" },
            "key": name, "code": code, "windowsVirtualKeyCode": number,
        });
        if let Some(text) = text {
            down["text"] = text.into();
        }
        self.call("Input.dispatchKeyEvent", down);
        self.call(
            "Input.dispatchKeyEvent",
            json!({"type": "keyUp", "key": name, "code": code, "windowsVirtualKeyCode": number}),
        );
    }

    /// Presses a key with Control held.
    pub fn ctrl(&mut self, name: &str) {
        let (code, number, _) = key_of(name);
        for kind in ["rawKeyDown", "keyUp"] {
            self.call(
                "Input.dispatchKeyEvent",
                json!({"type": kind, "key": name, "code": code, "windowsVirtualKeyCode": number, "modifiers": 2}),
            );
        }
    }

    /// Runs no script of any page from now on.
    pub fn without_script(&mut self) {
        self.call(
            "Emulation.setScriptExecutionDisabled",
            json!({"value": true}),
        );
    }

    /// Waits for a page of this path, whole.
    #[track_caller]
    pub fn at(&mut self, path: &str) {
        self.wait(&format!(
            "location.pathname === {} && document.readyState === 'complete'",
            json!(path)
        ));
    }

    /// Types a text, where the cursor is.
    pub fn text(&mut self, text: &str) {
        self.call("Input.insertText", json!({"text": text}));
    }

    /// Presses Tab until the cursor is at what a selector names.
    #[track_caller]
    pub fn tab_to(&mut self, selector: &str) {
        let here = format!(
            "document.activeElement?.matches({}) === true",
            json!(selector)
        );
        for _ in 0..150 {
            if self.eval(&here) == true {
                return;
            }
            self.key("Tab");
        }
        panic!(
            "Tab never comes to {selector} on {}",
            self.eval("location.href")
        );
    }

    /// A screen of this size.
    pub fn screen(&mut self, width: u32, height: u32, phone: bool) {
        self.call(
            "Emulation.setDeviceMetricsOverride",
            json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": phone}),
        );
    }

    /// By day or by lamp, at once: colours do not move from one to the other.
    pub fn light(&mut self, scheme: &str) {
        self.call(
            "Emulation.setEmulatedMedia",
            json!({"features": [
                {"name": "prefers-color-scheme", "value": scheme},
                {"name": "prefers-reduced-motion", "value": "reduce"},
            ]}),
        );
    }

    /// As on paper, with what is not printed left out; or as on the screen again.
    pub fn paper(&mut self, on: bool) {
        let media = if on { "print" } else { "" };
        self.call("Emulation.setEmulatedMedia", json!({"media": media}));
    }

    /// Keeps a picture of what is on the screen.
    pub fn picture(&mut self, path: &Path) {
        self.keep(path, json!({"format": "png"}));
    }

    /// Keeps a picture of the page from its head to its foot.
    pub fn whole_picture(&mut self, path: &Path) {
        let size = self
            .eval("[document.documentElement.scrollWidth, document.documentElement.scrollHeight]");
        let clip = json!({"x": 0, "y": 0, "width": size[0], "height": size[1], "scale": 1});
        self.keep(
            path,
            json!({"format": "png", "captureBeyondViewport": true, "clip": clip}),
        );
    }

    fn keep(&mut self, path: &Path, how: Value) {
        let came = self.call("Page.captureScreenshot", how);
        let bytes = base64::engine::general_purpose::STANDARD
            .decode(came["data"].as_str().unwrap())
            .unwrap();
        std::fs::write(path, bytes).unwrap();
    }
}

impl Drop for Chromium {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Where pictures are kept: `target/pages`.
pub fn pictures() -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("../pages");
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

/// What on the page that is shown shuts somebody out seriously, or is wider than the screen.
pub fn shuts_out(c: &mut Chromium) -> Vec<String> {
    let mut all = Vec::new();
    let wide =
        c.eval("document.documentElement.scrollWidth - document.documentElement.clientWidth");
    if wide.as_i64() != Some(0) {
        all.push(format!("{wide} px too wide"));
    }
    c.eval(include_str!("../axe/axe.min.js"));
    all.extend(serious(c, "{resultTypes: ['violations']}"));
    all
}

/// What is too pale on a page that [`shuts_out`] has scanned and whose colours have changed since.
pub fn too_pale(c: &mut Chromium) -> Vec<String> {
    serious(
        c,
        "{runOnly: ['color-contrast'], resultTypes: ['violations']}",
    )
}

fn serious(c: &mut Chromium, how: &str) -> Vec<String> {
    let found = c.eval(&format!(
        "axe.run({how}).then(r => r.violations.filter(v => v.impact === 'serious' || v.impact === 'critical')\
         .map(v => `${{v.id}} ${{v.nodes.map(n => n.target + ': ' + n.failureSummary).join('; ')}}`))",
    ));
    let words = |v: &serde_json::Value| v.as_str().unwrap_or_default().to_owned();
    found.as_array().unwrap().iter().map(words).collect()
}
