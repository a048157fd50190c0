//! The socket: on this machine alone, with time-outs, until it is told to end.

use std::io;
use std::net::Ipv4Addr;
use std::sync::Arc;
use std::time::Duration;

use axum::body::Body;
use axum::extract::Request;
use hyper::body::Incoming;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::graceful::GracefulShutdown;
use hyper_util::service::TowerToHyperService;
use tokio::net::TcpListener;
use tokio::sync::{Notify, Semaphore};
use tower::ServiceExt as _;

use crate::routes::{Limits, app};
use crate::session::Session;

/// How to serve.
#[derive(Debug, Clone, Copy, Default)]
pub struct Options {
    /// The port; 0 takes a free one.
    pub port: u16,
    /// What one request may take.
    pub limits: Limits,
}

/// Why the page cannot be served.
#[derive(Debug)]
#[non_exhaustive]
pub enum ServeError {
    /// The system gives no random numbers for the token.
    NoToken,
    /// The port cannot be listened on.
    Port(io::Error),
}

impl std::fmt::Display for ServeError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoToken => f.write_str("the system gives no random numbers"),
            Self::Port(error) => write!(f, "cannot listen on this machine: {error}"),
        }
    }
}

impl std::error::Error for ServeError {}

/// How long connections may take to come to their end once the program is to end.
const LAST_WORDS: Duration = Duration::from_millis(500);

/// Serves the session until it is told to end, by the page or from the keyboard.
/// `ready` gets the address once it is listened on.
///
/// # Errors
/// There is no token or no port.
pub fn serve(
    session: &Arc<Session>,
    options: Options,
    ready: impl FnOnce(&str),
) -> Result<(), ServeError> {
    let token = token()?;
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(ServeError::Port)?;
    let done = runtime.block_on(listen(session, options, &token, ready));
    session.end();
    runtime.shutdown_timeout(LAST_WORDS);
    done
}

async fn listen(
    session: &Arc<Session>,
    options: Options,
    token: &str,
    ready: impl FnOnce(&str),
) -> Result<(), ServeError> {
    let listener =
        TcpListener::bind((Ipv4Addr::LOCALHOST, options.port)).await.map_err(ServeError::Port)?;
    let port = listener.local_addr().map_err(ServeError::Port)?.port();
    let end = Arc::new(Notify::new());
    let router = app(Arc::clone(session), port, token, &options.limits, Arc::clone(&end));
    ready(&format!("http://127.0.0.1:{port}/{token}/"));
    let graceful = GracefulShutdown::new();
    let places = Arc::new(Semaphore::new(options.limits.connections));
    let mut http = hyper::server::conn::http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(options.limits.head);
    loop {
        let socket = tokio::select! {
            accepted = listener.accept() => match accepted {
                Ok((socket, _)) => socket,
                // One connection that failed, or too many files open: others may do.
                Err(_) => {
                    tokio::time::sleep(Duration::from_millis(50)).await;
                    continue;
                }
            },
            () = end.notified() => break,
            () = interrupted() => break,
        };
        // A connection more than there are places for is closed unheard.
        let Ok(place) = Arc::clone(&places).try_acquire_owned() else { continue };
        let router = router.clone();
        let service = TowerToHyperService::new(
            router.map_request(|request: Request<Incoming>| request.map(Body::new)),
        );
        let connection = graceful.watch(http.serve_connection(TokioIo::new(socket), service));
        tokio::spawn(async move {
            // A browser that goes away in the middle is no fault.
            let _ = connection.await;
            drop(place);
        });
    }
    let _ = tokio::time::timeout(LAST_WORDS, graceful.shutdown()).await;
    Ok(())
}

/// Asked to end from the keyboard, or by the system.
async fn interrupted() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminated) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = terminated.recv() => {}
                _ = tokio::signal::ctrl_c() => {}
            }
            return;
        }
    }
    let _ = tokio::signal::ctrl_c().await;
}

/// 256 random bits in hexadecimal.
fn token() -> Result<String, ServeError> {
    let mut bytes = [0u8; 32];
    getrandom::fill(&mut bytes).map_err(|_| ServeError::NoToken)?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}
