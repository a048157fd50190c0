//! Whoever is not this page gets nothing and changes nothing.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::sync::atomic::Ordering;
use std::time::{Duration, Instant};

use crate::support::{Bench, CASE, PORT, SCAN, TOKEN};
use axum::body::Body;
use axum::http::StatusCode;
use spile_page::{Limits, Options, serve};

/// Every request that reads or does something.
const ALL: [(&str, &str, &str); 14] = [
    ("GET", "", ""),
    ("GET", "api/state", ""),
    ("GET", "api/events", ""),
    ("GET", "api/scan/surface", ""),
    ("GET", "out/proof.json", ""),
    ("POST", "api/open", "{\"file\": \"scan.stl\"}"),
    ("PUT", "api/file/new.stl", SCAN),
    ("PUT", "api/case", "{\"text\": \"\"}"),
    (
        "POST",
        "api/edit",
        "{\"what\": \"x\", \"edits\": [{\"path\": [\"unit\"], \"value\": \"cm\"}]}",
    ),
    ("POST", "api/undo", ""),
    ("POST", "api/save", ""),
    ("POST", "api/run", ""),
    ("POST", "api/stop", ""),
    ("POST", "api/end", ""),
];

/// Sends every request, changed by `with`, and checks that each is answered by `code`
/// with an empty body, and that nothing happened.
async fn all_are_refused(
    code: StatusCode,
    with: impl Fn(axum::http::request::Builder, &str) -> axum::http::request::Builder,
) {
    let bench = Bench::new();
    let (files, version) = (bench.files(), bench.session.state().case.unwrap().text);
    for (method, path, body) in ALL {
        let request = with(Bench::own(method, path), path).body(Body::from(body)).unwrap();
        let (got, said) = bench.send(request).await;
        assert_eq!((got, said), (code, Vec::new()), "{method} {path}");
    }
    assert_eq!(bench.files(), files);
    assert_eq!(bench.session.state().case.unwrap().text, version);
    assert_eq!(bench.job.runs.load(Ordering::SeqCst), 0);
}

#[tokio::test]
async fn a_wrong_host_is_refused() {
    for host in ["evil.example", "127.0.0.1", "localhost:80", "127.0.0.1:4711.evil.example", ""] {
        all_are_refused(StatusCode::MISDIRECTED_REQUEST, |mut request, _| {
            request.headers_mut().unwrap().insert("host", host.parse().unwrap());
            request
        })
        .await;
    }
    // Two of them, or none.
    all_are_refused(StatusCode::MISDIRECTED_REQUEST, |r, _| r.header("host", "localhost:4711"))
        .await;
    all_are_refused(StatusCode::MISDIRECTED_REQUEST, |mut request, _| {
        request.headers_mut().unwrap().remove("host");
        request
    })
    .await;
}

#[tokio::test]
async fn a_foreign_origin_is_refused() {
    let own = format!("http://localhost:{PORT}");
    let foreign =
        ["http://evil.example", "null", "https://127.0.0.1:4711", "http://127.0.0.1:4712"];
    for origin in foreign {
        all_are_refused(StatusCode::FORBIDDEN, |r, _| r.header("origin", origin)).await;
    }
    all_are_refused(StatusCode::FORBIDDEN, |r, _| {
        r.header("origin", &own).header("origin", "http://evil.example")
    })
    .await;
    for site in ["cross-site", "same-site"] {
        all_are_refused(StatusCode::FORBIDDEN, |r, _| r.header("sec-fetch-site", site)).await;
    }
    let bench = Bench::new();
    let request =
        Bench::own("GET", "api/state").header("origin", &own).body(Body::empty()).unwrap();
    assert_eq!(bench.send(request).await.0, StatusCode::OK);
}

#[tokio::test]
async fn a_wrong_or_missing_token_is_refused() {
    let longer = format!("{TOKEN}0");
    for token in ["", "0123456789abcdee", "0123456789ABCDEF", "0123456789abcde", &longer, "."] {
        all_are_refused(StatusCode::NOT_FOUND, |r, path| r.uri(format!("/{token}/{path}"))).await;
    }
    all_are_refused(StatusCode::NOT_FOUND, |r, path| r.uri(format!("/{path}"))).await;
    all_are_refused(StatusCode::NOT_FOUND, |r, path| r.uri(format!("/x/../{TOKEN}/{path}"))).await;
}

#[tokio::test]
async fn no_path_leads_out_of_the_folder() {
    let bench = Bench::new();
    #[cfg(unix)]
    {
        let inner = bench.root.path().join("in");
        std::os::unix::fs::symlink("../secret.stl", inner.join("link.stl")).unwrap();
        std::os::unix::fs::symlink(bench.root.path(), inner.join("up")).unwrap();
    }
    let files = bench.files();
    let ways =
        ["../secret.stl", "link.stl", "up/secret.stl", "/etc/passwd", "..\\\\secret.stl", ""];
    for way in ways {
        let (code, said) = bench.ask("POST", "api/open", &format!("{{\"file\": \"{way}\"}}")).await;
        assert_eq!(code, StatusCode::UNPROCESSABLE_ENTITY, "{way}: {said}");
        let text = CASE.replace("scan.stl", way);
        let body = serde_json::json!({ "text": text }).to_string();
        bench.ask("PUT", "api/case", &body).await;
        let (code, said) = bench.ask("POST", "api/run", "").await;
        assert_eq!(code, StatusCode::UNPROCESSABLE_ENTITY, "{way}: {said}");
        bench.ask("POST", "api/undo", "").await;
        let text = format!("{CASE}[[keep]]\nfile = '{way}'\n");
        bench.ask("PUT", "api/case", &serde_json::json!({ "text": text }).to_string()).await;
        let (code, said) = bench.ask("GET", "api/keep/0", "").await;
        assert_eq!(code, StatusCode::UNPROCESSABLE_ENTITY, "{way}: {said}");
        bench.ask("POST", "api/undo", "").await;
    }
    for way in
        ["..%2fsecret.stl", "%2e%2e/secret.stl", "%2fetc%2fpasswd", "../secret.stl", "x%00.stl"]
    {
        let (code, said) = bench.ask("GET", &format!("out/{way}"), "").await;
        assert!(code.is_client_error(), "{way}: {code} {said}");
        for of in ["file", "fitting"] {
            let (code, _) = bench.ask("PUT", &format!("api/{of}/{way}"), SCAN).await;
            assert!(code.is_client_error(), "{of} {way}: {code}");
        }
        let (code, _) = bench.ask("GET", way, "").await;
        assert!(code.is_client_error(), "{way}: {code}");
    }
    assert_eq!(bench.files(), files);
    assert_eq!(bench.job.runs.load(Ordering::SeqCst), 0);
}

#[cfg(unix)]
#[tokio::test]
async fn nothing_is_written_or_read_through_a_link() {
    let bench = Bench::new();
    let (root, inner) = (bench.root.path(), bench.root.path().join("in"));
    std::fs::create_dir(root.join("elsewhere")).unwrap();
    std::fs::write(root.join("elsewhere/proof.json"), "{}").unwrap();
    std::os::unix::fs::symlink(root.join("elsewhere"), inner.join("case-out")).unwrap();
    let (code, said) = bench.ask("POST", "api/run", "").await;
    assert_eq!(code, StatusCode::UNPROCESSABLE_ENTITY, "{said}");
    assert!(said.contains("is a link"), "{said}");
    assert_eq!(bench.ask("GET", "out/proof.json", "").await.0, StatusCode::NOT_FOUND);
    std::fs::remove_file(inner.join("case.toml")).unwrap();
    std::os::unix::fs::symlink(root.join("secret.stl"), inner.join("case.toml")).unwrap();
    let edits = "{\"what\": \"x\", \"edits\": [{\"path\": [\"unit\"], \"value\": \"cm\"}]}";
    assert_eq!(bench.ask("POST", "api/edit", edits).await.0, StatusCode::NO_CONTENT);
    assert_eq!(bench.ask("POST", "api/save", "").await.0, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(std::fs::read_to_string(root.join("secret.stl")).unwrap(), SCAN);
}

#[tokio::test]
async fn what_is_too_large_or_malformed_leaves_nothing() {
    let limits = Limits { file_bytes: 5000, request_bytes: 2000, ..Limits::default() };
    let bench = Bench::with(limits);
    let files = bench.files();
    let large = format!("{SCAN}{}", " ".repeat(5000));
    assert_eq!(bench.ask("PUT", "api/file/new.stl", &large).await.0, StatusCode::PAYLOAD_TOO_LARGE);
    let text = serde_json::json!({ "text": "#".repeat(3000) }).to_string();
    assert_eq!(bench.ask("PUT", "api/case", &text).await.0, StatusCode::PAYLOAD_TOO_LARGE);
    let bad = [
        ("new.stl", "solid x\nfacet normal"),
        ("new.stl", ""),
        ("new.ply", "ply\nformat ascii 1.0\nelement vertex 99999999999999999999\n"),
        ("new.3mf", "PK\u{3}\u{4}"),
        ("new.toml", "unit ="),
        ("new.txt", SCAN),
        (".stl", SCAN),
        ("-x.stl", SCAN),
        ("con.stl", SCAN),
    ];
    for (name, body) in bad {
        let (code, said) = bench.ask("PUT", &format!("api/file/{name}"), body).await;
        assert_eq!(code, StatusCode::UNPROCESSABLE_ENTITY, "{name}: {said}");
        let (code, said) = bench.ask("PUT", &format!("api/fitting/{name}"), body).await;
        assert_eq!(code, StatusCode::UNPROCESSABLE_ENTITY, "{name}: {said}");
    }
    let (code, _) = bench.ask("PUT", "api/fitting/new.step", "ISO-10303-21;\nDATA;\n#1=").await;
    assert_eq!(code, StatusCode::UNPROCESSABLE_ENTITY);
    let nonsense = ["", "{", "[]", "{\"file\": 1}", "{\"text\": \"\", \"more\": 1}", "\u{0}"];
    for body in nonsense {
        for path in ["api/open", "api/edit", "api/section", "api/line", "api/paint"] {
            let (code, said) = bench.ask("POST", path, body).await;
            assert_eq!(code, StatusCode::UNPROCESSABLE_ENTITY, "{path} {body}: {said}");
        }
    }
    assert_eq!(bench.files(), files);
    // A file of the same name is never written over.
    let other = SCAN.replace('9', "8");
    let (code, said) = bench.ask("PUT", "api/file/scan.stl", &other).await;
    assert_eq!((code, said.as_str()), (StatusCode::OK, "{\"file\":\"scan-2.stl\"}"));
    let there = std::fs::read_to_string(bench.root.path().join("in/scan.stl")).unwrap();
    assert_eq!(there, SCAN);
}

#[tokio::test]
async fn every_answer_says_what_a_browser_may_do() {
    let bench = Bench::new();
    for path in ["", "api/state", "nothing", "out/x"] {
        let head = bench.head(path).await;
        let policy = head["content-security-policy"].to_str().unwrap();
        assert!(policy.starts_with("default-src 'none'; script-src 'self'"), "{policy}");
        assert!(!policy.contains("unsafe") && !policy.contains("http"), "{policy}");
        assert_eq!(head["x-content-type-options"], "nosniff");
        assert_eq!(head["referrer-policy"], "no-referrer");
        assert!(!head.contains_key("access-control-allow-origin"));
    }
}

/// A server on a socket, ended when the test is done with it.
fn served(limits: Limits, with: impl FnOnce(u16, &str)) {
    let bench = Bench::new();
    let session = bench.session.clone();
    let (send, receive) = std::sync::mpsc::channel();
    let server = std::thread::spawn(move || {
        let ready = |address: &str| send.send(address.to_owned()).unwrap();
        serve(&session, Options { port: 0, limits }, ready)
    });
    let address = receive.recv().unwrap();
    let rest = address.strip_prefix("http://127.0.0.1:").unwrap();
    let (port, token) = rest.trim_end_matches('/').split_once('/').unwrap();
    assert_eq!(token.len(), 64);
    let port: u16 = port.parse().unwrap();
    with(port, token);
    // It may still hold connections that the test left open.
    let started = Instant::now();
    while !server.is_finished() && started.elapsed() < Duration::from_secs(20) {
        let (code, _) = said(port, &format!("POST /{token}/api/end"), "");
        if code == 204 {
            break;
        }
    }
    server.join().unwrap().unwrap();
}

fn said(port: u16, request: &str, more: &str) -> (u16, String) {
    let Ok(mut socket) = TcpStream::connect(("127.0.0.1", port)) else { return (0, String::new()) };
    let head =
        format!("{request} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n{more}\r\n");
    let _ = socket.write_all(head.as_bytes());
    let mut text = String::new();
    let _ = socket.read_to_string(&mut text);
    let code = text.split(' ').nth(1).and_then(|c| c.parse().ok()).unwrap_or(0);
    (code, text)
}

#[test]
fn slow_clients_are_let_go_and_hold_nobody_up() {
    let short = Duration::from_millis(400);
    let limits = Limits { head: short, answer: short, ..Limits::default() };
    served(limits, |port, token| {
        let begun = |text: &str| {
            let mut socket = TcpStream::connect(("127.0.0.1", port)).unwrap();
            socket.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
            socket.write_all(text.as_bytes()).unwrap();
            socket
        };
        let host = format!("Host: 127.0.0.1:{port}\r\n");
        let mut slow_head = begun(&format!("GET /{token}/api/state HTTP/1.1\r\n{host}"));
        let put =
            format!("PUT /{token}/api/file/a.stl HTTP/1.1\r\n{host}Content-Length: 100\r\n\r\nso");
        let mut slow_body = begun(&put);
        // Others are served meanwhile.
        assert_eq!(said(port, &format!("GET /{token}/api/state"), "").0, 200);
        let mut text = String::new();
        let _ = slow_body.read_to_string(&mut text);
        assert!(text.starts_with("HTTP/1.1 408"), "{text}");
        let mut rest = Vec::new();
        let _ = slow_head.read_to_end(&mut rest);
        let rest = String::from_utf8_lossy(&rest).into_owned();
        assert!(!rest.contains(" 200 "), "{rest}");
    });
}

#[test]
fn too_many_connections_are_turned_away_until_others_end() {
    let limits = Limits { connections: 2, head: Duration::from_millis(600), ..Limits::default() };
    served(limits, |port, token| {
        let idle: Vec<TcpStream> =
            (0..2).map(|_| TcpStream::connect(("127.0.0.1", port)).unwrap()).collect();
        std::thread::sleep(Duration::from_millis(100));
        assert_eq!(said(port, &format!("GET /{token}/api/state"), "").0, 0);
        std::thread::sleep(Duration::from_millis(1200));
        assert_eq!(said(port, &format!("GET /{token}/api/state"), "").0, 200);
        drop(idle);
    });
}
