//! A running server on a shop of its own, and a browser without script: it fetches pages, fills in
//! the forms that it finds there, and follows where they lead.

#![allow(dead_code, reason = "each test file uses its own part of the harness")]
#![allow(unreachable_pub, reason = "a module of test files")]
#![allow(
    clippy::unwrap_used,
    clippy::print_stderr,
    reason = "a failed step is a failed test"
)]

use std::collections::BTreeSet;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// `tubewright serve`, killed when dropped.
pub struct Server {
    child: Child,
    /// `127.0.0.1:40123`.
    pub host: String,
    folder: PathBuf,
}

impl Server {
    /// Starts on a folder, with more arguments.
    pub fn start(folder: &Path, more: &[&str]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_tubewright"))
            .args(["serve", "--shop"])
            .arg(folder)
            .args(more)
            .args(if more.contains(&"--port") {
                &[][..]
            } else {
                &["--port", "0"][..]
            })
            .env("TZ", "UTC")
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .unwrap();
        let out = child.stdout.take().unwrap();
        let host = BufReader::new(out)
            .lines()
            .map_while(Result::ok)
            .find_map(|l| Some(l.split_once("http://")?.1.trim().to_owned()))
            .expect("the address is printed");
        Self {
            child,
            host,
            folder: folder.to_owned(),
        }
    }

    /// A server that lets the network in, its passcode in a file; none where this machine is on no network. Its time
    /// stands still, so a wait that was set never ends by itself.
    pub fn for_the_network(folder: &Path, passcode: &str) -> Option<Self> {
        let tried = std::net::UdpSocket::bind("0.0.0.0:0")
            .and_then(|s| s.connect("192.0.2.1:9").map(|()| s))
            .and_then(|s| s.local_addr());
        if !tried.is_ok_and(|a| !a.ip().is_unspecified() && !a.ip().is_loopback()) {
            eprintln!("this machine is on no network: nothing to let in");
            return None;
        }
        let file = folder.join("passcode");
        std::fs::write(&file, format!("{passcode}\n")).unwrap();
        let file = file.to_string_lossy().into_owned();
        let more = ["--lan", "--passcode-file", &file, "--at", "1795597200000"];
        Some(Self::start(&folder.join("shop"), &more))
    }

    /// kill -9: nothing is said to the program, nothing is finished.
    pub fn kill(mut self) -> PathBuf {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        self.folder.clone()
    }

    /// Kilobytes in memory, now and at most; only where the system says so.
    pub fn memory_kb(&self) -> Option<(u64, u64)> {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).ok()?;
        let of = |name: &str| {
            let line = status.lines().find(|l| l.starts_with(name))?;
            line.split_whitespace().nth(1)?.parse().ok()
        };
        Some((of("VmRSS:")?, of("VmHWM:")?))
    }

    /// A browser on this machine.
    pub fn browser(&self) -> Browser {
        self.browser_at(&self.host)
    }

    /// A browser at another address of the server.
    pub fn browser_at(&self, host: &str) -> Browser {
        Browser {
            host: host.to_owned(),
            cookies: Vec::new(),
            set: Vec::new(),
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An answer.
#[derive(Debug, Clone)]
pub struct Page {
    /// Status.
    pub status: u16,
    /// Header lines, names small.
    pub headers: Vec<(String, String)>,
    /// Where it was in the end.
    pub address: String,
    /// The body as text.
    pub text: String,
}

impl Page {
    /// Nobody answered.
    fn gone(address: &str) -> Self {
        Self {
            status: 0,
            headers: Vec::new(),
            address: address.to_owned(),
            text: String::new(),
        }
    }

    /// A header's value.
    pub fn header(&self, name: &str) -> &str {
        self.headers
            .iter()
            .find(|(n, _)| n == name)
            .map_or("", |(_, v)| v)
    }

    /// The page came, and these words are on it.
    #[track_caller]
    pub fn has(&self, words: &[&str]) -> &Self {
        let plain = self.words();
        for word in words {
            assert!(
                plain.contains(word),
                "`{word}` is not on {} ({}):\n{plain}",
                self.address,
                self.status
            );
        }
        self
    }

    /// The words of the page without its tags, spaces evened out.
    pub fn words(&self) -> String {
        let mut out = String::new();
        let mut inside = false;
        for c in self.text.chars() {
            match c {
                '<' => inside = true,
                '>' => {
                    inside = false;
                    out.push(' ');
                }
                c if !inside => out.push(c),
                _ => {}
            }
        }
        let out = unescape(&out);
        out.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    /// Where the link with these words leads.
    #[track_caller]
    pub fn link(&self, words: &str) -> String {
        let links = self.text.split("<a ").skip(1);
        let mut found = links.filter_map(|piece| {
            let (head, inner) = piece.split_once('>')?;
            let inner = inner.split("</a>").next()?;
            inner.contains(words).then(|| attribute(head, "href"))?
        });
        let found = found.next();
        found.unwrap_or_else(|| panic!("no link `{words}` on {}", self.address))
    }

    /// The form whose text holds these words: its action and its fields as they stand.
    #[track_caller]
    pub fn form(&self, holds: &str) -> Form {
        for piece in self.text.split("<form").skip(1) {
            let piece = piece.split("</form>").next().unwrap();
            if piece.contains(holds) {
                return Form::of(piece);
            }
        }
        panic!("no form with `{holds}` on {}", self.address);
    }

    /// Where its links lead, as they stand.
    pub fn links(&self) -> Vec<String> {
        let links = self.text.split(" href=\"").skip(1);
        links
            .map(|link| link.split('"').next().unwrap().replace("&amp;", "&"))
            .collect()
    }

    /// Every form that is sent as plain fields.
    pub fn forms(&self) -> Vec<Form> {
        let pieces = self.text.split("<form").skip(1);
        let pieces = pieces.map(|piece| piece.split("</form>").next().unwrap());
        let sent = |piece: &&str| {
            let head = piece.split('>').next().unwrap();
            head.contains("method=\"post\"") && !head.contains("multipart")
        };
        pieces.filter(sent).map(Form::of).collect()
    }
}

/// A form of a page.
#[derive(Debug, Clone)]
pub struct Form {
    action: String,
    fields: Vec<(String, String)>,
    /// Names of the fields that take any words.
    texts: Vec<String>,
}

impl Form {
    fn of(piece: &str) -> Self {
        let (head, inner) = piece.split_once('>').unwrap();
        let (mut fields, mut texts) = (Vec::new(), Vec::new());
        for tag in inner.split('<').skip(1) {
            let (tag, after) = tag.split_once('>').unwrap();
            let Some(name) = attribute(tag, "name") else {
                continue;
            };
            let sort = attribute(tag, "type").unwrap_or_default();
            let words = matches!(sort.as_str(), "" | "text" | "search" | "password");
            if tag.starts_with("textarea") || tag.starts_with("input") && words {
                texts.push(name.clone());
            }
            if tag.starts_with("input") {
                let chosen = tag.contains(" checked");
                if !matches!(sort.as_str(), "checkbox" | "radio" | "file") || chosen {
                    fields.push((name, attribute(tag, "value").unwrap_or_default()));
                }
            } else if tag.starts_with("textarea") {
                // the line end after the tag belongs to the markup
                fields.push((name, unescape(after.strip_prefix('\n').unwrap_or(after))));
            } else if tag.starts_with("select") {
                let options = inner.split(&format!("name=\"{name}\"")).nth(1).unwrap();
                let options = options.split("</select>").next().unwrap();
                let chosen = options
                    .split("<option")
                    .skip(1)
                    .find(|o| o.split('>').next().unwrap().contains(" selected"))
                    .or_else(|| options.split("<option").nth(1));
                let value = chosen.and_then(|o| attribute(o.split('>').next()?, "value"));
                fields.push((name, value.unwrap_or_default()));
            }
        }
        Self {
            action: attribute(head, "action").unwrap_or_default(),
            fields,
            texts,
        }
    }

    /// Where it is sent.
    pub fn action(&self) -> &str {
        &self.action
    }

    /// Its fields as they stand: name, value.
    pub fn fields(&self) -> &[(String, String)] {
        &self.fields
    }

    /// Names of the fields that take any words.
    pub fn texts(&self) -> &[String] {
        &self.texts
    }

    /// Types into a field, or presses a named button.
    #[must_use]
    pub fn with(mut self, name: &str, value: &str) -> Self {
        match self.fields.iter_mut().find(|(n, _)| n == name) {
            Some(field) => field.1 = value.to_owned(),
            None => self.fields.push((name.to_owned(), value.to_owned())),
        }
        self
    }

    /// A field's value.
    pub fn value(&self, name: &str) -> &str {
        self.fields
            .iter()
            .find(|(n, _)| n == name)
            .map_or("", |(_, v)| v)
    }
}

fn attribute(tag: &str, name: &str) -> Option<String> {
    let from = tag.split(&format!(" {name}=\"")).nth(1)?;
    Some(unescape(from.split('"').next()?))
}

fn unescape(text: &str) -> String {
    text.replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"")
        .replace("&#39;", "'")
        .replace("&amp;", "&")
}

/// A browser without script.
#[derive(Debug, Clone)]
pub struct Browser {
    host: String,
    cookies: Vec<(String, String)>,
    set: Vec<String>,
}

impl Browser {
    /// Every cookie that was set, as it came.
    pub fn last_cookies(&self) -> &[String] {
        &self.set
    }

    /// Fetches a page and follows where it leads.
    pub fn get(&mut self, address: &str) -> Page {
        let page = self.ask("GET", address, &[], b"");
        self.follow(page)
    }

    /// Fetches every page of ours that links lead to from `first`, each once and so many at most, and hands it over.
    pub fn walk(&mut self, first: &[&str], most: usize, mut look: impl FnMut(Page)) {
        let mut waiting: Vec<String> = first.iter().map(|a| (*a).to_owned()).collect();
        let mut seen = BTreeSet::new();
        while let Some(address) = waiting.pop() {
            let plain = address.split('#').next().unwrap().to_owned();
            if seen.len() > most || !seen.insert(plain.clone()) {
                continue;
            }
            let page = self.get(&plain);
            if page.header("content-type").starts_with("text/html") {
                waiting.extend(page.links().into_iter().filter(|l| l.starts_with('/')));
            }
            look(page);
        }
    }

    /// Sends a form and follows where it leads.
    pub fn send(&mut self, form: &Form) -> Page {
        let body = encoded(&form.fields);
        let page = self.post(&form.action, &body);
        self.follow(page)
    }

    /// Sends a form that is written out here.
    pub fn send_to(&mut self, address: &str, fields: &[(&str, &str)]) -> Page {
        let fields: Vec<(String, String)> = fields
            .iter()
            .map(|(a, b)| ((*a).to_owned(), (*b).to_owned()))
            .collect();
        let page = self.post(address, &encoded(&fields));
        self.follow(page)
    }

    /// Sends the body of a form as it stands, and follows nowhere.
    pub fn post(&mut self, address: &str, body: &str) -> Page {
        let origin = format!("http://{}", self.host);
        self.ask(
            "POST",
            address,
            &[
                ("Origin", &origin),
                ("Content-Type", "application/x-www-form-urlencoded"),
            ],
            body.as_bytes(),
        )
    }

    /// Sends a file as a photo form does.
    pub fn upload(&mut self, address: &str, name: &str, content: &[u8]) -> Page {
        let mut body = format!(
            "--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\
             Content-Type: image/jpeg\r\n\r\n"
        )
        .into_bytes();
        body.extend_from_slice(content);
        body.extend_from_slice(b"\r\n--edge--\r\n");
        let origin = format!("http://{}", self.host);
        let page = self.ask(
            "POST",
            address,
            &[
                ("Origin", &origin),
                ("Content-Type", "multipart/form-data; boundary=edge"),
            ],
            &body,
        );
        self.follow(page)
    }

    /// Sends a form and gives the status, none when the server is gone.
    pub fn ask_post(&mut self, address: &str, fields: &[(&str, &str)]) -> Option<u16> {
        let fields: Vec<(String, String)> = fields
            .iter()
            .map(|(a, b)| ((*a).to_owned(), (*b).to_owned()))
            .collect();
        Some(self.post(address, &encoded(&fields)).status).filter(|s| *s != 0)
    }

    fn follow(&mut self, mut page: Page) -> Page {
        for _ in 0..5 {
            if !matches!(page.status, 301..=303 | 307) {
                break;
            }
            let to = page.header("location").to_owned();
            page = self.ask("GET", &to, &[], b"");
        }
        page
    }

    /// One request, exactly as said; `Host` is this server's unless it is given.
    pub fn ask(
        &mut self,
        method: &str,
        address: &str,
        headers: &[(&str, &str)],
        body: &[u8],
    ) -> Page {
        let path = address.split('#').next().unwrap();
        let mut head = format!("{method} {path} HTTP/1.1\r\nConnection: close\r\n");
        if !headers.iter().any(|(n, _)| *n == "Host") {
            head.push_str(&format!("Host: {}\r\n", self.host));
        }
        for (name, value) in headers {
            head.push_str(&format!("{name}: {value}\r\n"));
        }
        if !self.cookies.is_empty() {
            let all: Vec<String> = self
                .cookies
                .iter()
                .map(|(n, v)| format!("{n}={v}"))
                .collect();
            head.push_str(&format!("Cookie: {}\r\n", all.join("; ")));
        }
        if method == "POST" {
            head.push_str(&format!("Content-Length: {}\r\n", body.len()));
        }
        head.push_str("\r\n");
        let Ok(mut line) = TcpStream::connect(&self.host) else {
            return Page::gone(address);
        };
        if line.write_all(head.as_bytes()).is_err() {
            return Page::gone(address);
        }
        // a server that refuses may close before all of a large body is sent
        let _ = line.write_all(body);
        let mut raw = Vec::new();
        let _ = line.read_to_end(&mut raw);
        let split = raw
            .windows(4)
            .position(|w| w == b"\r\n\r\n")
            .unwrap_or(raw.len());
        let text = String::from_utf8_lossy(&raw[..split]).into_owned();
        let mut rows = text.split("\r\n");
        let status = rows
            .next()
            .and_then(|l| l.split(' ').nth(1)?.parse().ok())
            .unwrap_or(0);
        let headers: Vec<(String, String)> = rows
            .filter_map(|l| l.split_once(": "))
            .map(|(n, v)| (n.to_ascii_lowercase(), v.to_owned()))
            .collect();
        for (_, set) in headers.iter().filter(|(n, _)| n == "set-cookie") {
            self.set.push(set.clone());
            let (name, value) = set.split(';').next().unwrap().split_once('=').unwrap();
            self.cookies.retain(|(n, _)| n != name);
            self.cookies.push((name.to_owned(), value.to_owned()));
        }
        let body = raw.get(split + 4..).unwrap_or_default();
        let chunked = headers
            .iter()
            .any(|(n, v)| n == "transfer-encoding" && v == "chunked");
        let body = if chunked { joined(body) } else { body.to_vec() };
        Page {
            status,
            headers,
            address: address.to_owned(),
            text: String::from_utf8_lossy(&body).into_owned(),
        }
    }
}

/// A body sent in chunks.
fn joined(mut rest: &[u8]) -> Vec<u8> {
    let mut out = Vec::new();
    while let Some(end) = rest.windows(2).position(|w| w == b"\r\n") {
        let size = std::str::from_utf8(&rest[..end])
            .ok()
            .and_then(|t| usize::from_str_radix(t, 16).ok())
            .unwrap_or(0);
        if size == 0 || rest.len() < end + 2 + size {
            break;
        }
        out.extend_from_slice(&rest[end + 2..end + 2 + size]);
        rest = rest.get(end + 4 + size..).unwrap_or_default();
    }
    out
}

fn encoded(fields: &[(String, String)]) -> String {
    let part = |text: &str| -> String {
        text.bytes()
            .map(|b| {
                if b.is_ascii_alphanumeric() {
                    char::from(b).to_string()
                } else {
                    format!("%{b:02X}")
                }
            })
            .collect()
    };
    fields
        .iter()
        .map(|(n, v)| format!("{}={}", part(n), part(v)))
        .collect::<Vec<_>>()
        .join("&")
}

/// A grey square of 8 by 8, stored without compression.
pub fn png() -> Vec<u8> {
    let mut rows = Vec::new();
    for _ in 0..8 {
        rows.push(0);
        rows.extend_from_slice(&[128; 8]);
    }
    let mut adler = (1u32, 0u32);
    for b in &rows {
        adler.0 = (adler.0 + u32::from(*b)) % 65_521;
        adler.1 = (adler.1 + adler.0) % 65_521;
    }
    let length = u16::try_from(rows.len()).unwrap();
    let mut packed = vec![0x78, 0x01, 0x01];
    packed.extend_from_slice(&length.to_le_bytes());
    packed.extend_from_slice(&(!length).to_le_bytes());
    packed.extend_from_slice(&rows);
    packed.extend_from_slice(&((adler.1 << 16) | adler.0).to_be_bytes());
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut chunk = |name: &[u8; 4], data: &[u8]| {
        out.extend_from_slice(&u32::try_from(data.len()).unwrap().to_be_bytes());
        let mut body = name.to_vec();
        body.extend_from_slice(data);
        let mut crc = u32::MAX;
        for b in &body {
            crc ^= u32::from(*b);
            for _ in 0..8 {
                crc = if crc & 1 == 1 {
                    (crc >> 1) ^ 0xedb8_8320
                } else {
                    crc >> 1
                };
            }
        }
        out.extend_from_slice(&body);
        out.extend_from_slice(&(!crc).to_be_bytes());
    };
    chunk(b"IHDR", &[0, 0, 0, 8, 0, 0, 0, 8, 8, 0, 0, 0, 0]);
    chunk(b"IDAT", &packed);
    chunk(b"IEND", &[]);
    out
}
