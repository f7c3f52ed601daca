//! A page in headless Chromium as a person uses it: real keys, windows of any width, what the page
//! asked of the network and said to its console. Speaks the browser's own protocol over a pipe, so
//! no driver and no port is needed. Looks at nothing by itself.

#![allow(clippy::unwrap_used, clippy::panic)] // helpers of tests fail as tests do

use std::io::{BufRead, BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

use serde_json::{Value, json};

/// One page in a browser of its own.
pub(crate) struct Browser {
    child: Child,
    input: ChildStdin,
    output: BufReader<ChildStdout>,
    session: Option<String>,
    number: u64,
    /// What the browser told without being asked.
    events: Vec<Value>,
}

impl Browser {
    /// Opens a file in a window of that size; `folder` takes what the browser writes.
    pub(crate) fn open(folder: &Path, page: &Path, [width, height]: [u32; 2]) -> Self {
        // The browser reads commands from file 3 and answers on file 4.
        let script = "exec chromium \"$@\" 3<&0 4>&1 1>&2";
        let mut child = Command::new("sh")
            .args(["-c", script, "sh", "--headless", "--no-sandbox", "--disable-gpu"])
            .args(["--remote-debugging-pipe", "about:blank"])
            .arg(format!("--user-data-dir={}", folder.join("profile").display()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromium, which .ci/run installs");
        let (input, output) = (child.stdin.take().unwrap(), child.stdout.take().unwrap());
        let output = BufReader::new(output);
        let mut browser =
            Self { child, input, output, session: None, number: 0, events: Vec::new() };
        let target = browser.call("Target.createTarget", &json!({"url": "about:blank"}));
        let attach = json!({"targetId": target["targetId"], "flatten": true});
        let session = browser.call("Target.attachToTarget", &attach);
        browser.session = Some(session["sessionId"].as_str().unwrap().to_owned());
        for domain in ["Page", "Runtime", "Log", "Network"] {
            browser.call(&format!("{domain}.enable"), &json!({}));
        }
        let size = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600});
        browser.call("Emulation.setDeviceMetricsOverride", &size);
        browser.call("Page.navigate", &json!({"url": format!("file://{}", page.display())}));
        browser.until_loaded();
        browser
    }

    /// What the script's last expression gives, when it is a promise what that gives.
    pub(crate) fn evaluate(&mut self, script: &str) -> Value {
        let wanted = json!({"expression": script, "awaitPromise": true, "returnByValue": true});
        let answer = self.call("Runtime.evaluate", &wanted);
        assert!(answer["exceptionDetails"].is_null(), "{answer}");
        answer["result"]["value"].clone()
    }

    /// Presses and releases a key.
    pub(crate) fn press(&mut self, key: &str) {
        let (code, text) = match key {
            "Tab" => (9, ""),
            "Enter" => (13, "\r"),
            "PageUp" => (33, ""),
            "PageDown" => (34, ""),
            "ArrowUp" => (38, ""),
            "ArrowDown" => (40, ""),
            letter if letter.len() == 1 => {
                (u32::from(letter.as_bytes()[0].to_ascii_uppercase()), letter)
            }
            _ => panic!("{key} is not known here"),
        };
        for kind in ["keyDown", "keyUp"] {
            let mut event =
                json!({"type": kind, "key": key, "windowsVirtualKeyCode": code, "code": key});
            if kind == "keyDown" && !text.is_empty() {
                event["text"] = json!(text);
            }
            self.call("Input.dispatchKeyEvent", &event);
        }
    }

    /// Loads the page again, as a person does who pressed the wrong key.
    pub(crate) fn reload(&mut self) {
        self.events.retain(|e| e["method"] != "Page.loadEventFired");
        self.call("Page.reload", &json!({}));
        self.until_loaded();
    }

    /// Saves what the page offers into a folder, without asking.
    pub(crate) fn downloads_to(&mut self, folder: &Path) {
        let place = json!({"behavior": "allow", "downloadPath": folder.to_string_lossy()});
        self.call("Page.setDownloadBehavior", &place);
    }

    fn until_loaded(&mut self) {
        while !self.events.iter().any(|e| e["method"] == "Page.loadEventFired") {
            let message = self.message();
            self.events.push(message);
        }
    }

    /// What the page asked for besides itself, said to its console, or failed in.
    pub(crate) fn complaints(&self) -> Vec<String> {
        let told = |e: &&Value| match e["method"].as_str().unwrap_or_default() {
            "Runtime.consoleAPICalled" | "Runtime.exceptionThrown" | "Log.entryAdded" => true,
            "Network.requestWillBeSent" => e["params"]["type"] != "Document",
            _ => false,
        };
        self.events.iter().filter(told).map(ToString::to_string).collect()
    }

    fn call(&mut self, method: &str, parameters: &Value) -> Value {
        self.number += 1;
        let mut command = json!({"id": self.number, "method": method, "params": parameters});
        if let Some(session) = &self.session {
            command["sessionId"] = json!(session);
        }
        self.input.write_all(command.to_string().as_bytes()).unwrap();
        self.input.write_all(&[0]).unwrap();
        self.input.flush().unwrap();
        loop {
            let message = self.message();
            if message["id"] == self.number {
                assert!(message["error"].is_null(), "{method}: {message}");
                return message["result"].clone();
            }
            self.events.push(message);
        }
    }

    fn message(&mut self) -> Value {
        let mut bytes = Vec::new();
        self.output.read_until(0, &mut bytes).unwrap();
        assert!(bytes.pop() == Some(0), "the browser went away");
        serde_json::from_slice(&bytes).unwrap()
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
