//! Starting and stopping: the shop's folder, the sockets, the address that is printed.

use super::access::{self, Access};
use super::ask::Door;
use super::clock;
use super::guard::Gate;
use super::router;
use super::site::Site;
use super::warm;
use crate::arguments::Serve;
use crate::outcome::{Failure, Outcome};
use shop::{At, Shop, ShopError, Stamp};
use std::io::Write as _;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::watch;

/// Runs `serve` until it is stopped.
pub(crate) fn run(given: &Serve) -> Result<Outcome, Failure> {
    let folder = match &given.shop {
        Some(folder) => folder.clone(),
        None => usual_folder()?,
    };
    let fixed_now = given.at.map(At);
    let now = fixed_now.unwrap_or_else(clock::now);
    let shop = Shop::open(&folder, now).map_err(|e| refused(&e))?;
    serve(shop, given, fixed_now)
}

/// Serves an open shop until it is stopped.
pub(crate) fn serve(shop: Shop, given: &Serve, fixed_now: Option<At>) -> Result<Outcome, Failure> {
    let now = fixed_now.unwrap_or_else(clock::now);
    let lan = match given.lan {
        false => None,
        true => {
            passcode(&shop, given.passcode_file.as_deref(), now)?;
            Some(network_address()?)
        }
    };
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|e| {
            Failure::outside(
                format!("The server could not start: {e}."),
                "Close other programs and try again.",
            )
        })?;
    runtime.block_on(listen(shop, given.port, lan, fixed_now))?;
    Ok(Outcome::default())
}

async fn listen(
    shop: Shop,
    port: u16,
    lan: Option<IpAddr>,
    fixed_now: Option<At>,
) -> Result<(), Failure> {
    let desk = bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).await?;
    let port = address(&desk)?.port();
    let network = match lan {
        Some(ip) => Some(bind(SocketAddr::new(ip, port)).await?),
        None => None,
    };
    let outside = match &network {
        Some(l) => Some(format!("http://{}", address(l)?)),
        None => None,
    };
    let folder = shop.folder().display().to_string();
    let site = Arc::new(Site::new(shop, Access::new(outside.clone()), fixed_now));
    let gate = |door, hosts| Gate {
        door,
        hosts: Arc::new(hosts),
        site: Arc::clone(&site),
    };
    let (stop, stopped) = watch::channel(false);
    let mut servers = Vec::new();
    let own_names = ["127.0.0.1", "localhost"].map(|h| format!("{h}:{port}"));
    servers.push((desk, gate(Door::Desk, own_names.to_vec())));
    if let Some(network) = network {
        let name = address(&network)?.to_string();
        servers.push((network, gate(Door::Network, vec![name])));
    }
    warm::start(&site);
    tell(&folder, port, outside.as_deref(), &site);
    let tasks: Vec<_> = servers
        .into_iter()
        .map(|(listener, gate)| {
            let mut stopped = stopped.clone();
            let pages = router::pages(Arc::clone(&site), gate);
            tokio::spawn(async move {
                axum::serve(listener, pages)
                    .with_graceful_shutdown(async move {
                        let _ = stopped.changed().await;
                    })
                    .await
            })
        })
        .collect();
    stop_signal().await;
    let _ = stop.send(true);
    // a browser that keeps its connection open must not keep the program
    for task in tasks {
        let _ = tokio::time::timeout(Duration::from_millis(500), task).await;
    }
    Ok(())
}

/// What is printed: where the shop is, where to look, how to stop.
fn tell(folder: &str, port: u16, outside: Option<&str>, site: &Site) {
    let mut text = format!("The shop in {folder} is open at\n  http://127.0.0.1:{port}\n");
    if let Some(outside) = outside {
        let code = site.access.code(site.now()).unwrap_or_default();
        text.push_str(&format!(
            "Other devices on this network, with the passcode and a code that works once:\n  \
             {outside}/in?code={code}\n\
             This connection is not encrypted: use it on a network of your own.\n"
        ));
    }
    text.push_str("Stop it with Ctrl-C.\n");
    let mut out = std::io::stdout().lock();
    // with nobody to read it, the server still serves
    let _ = out.write_all(text.as_bytes());
    let _ = out.flush();
}

async fn stop_signal() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut terminate) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = tokio::signal::ctrl_c() => {}
                _ = terminate.recv() => {}
            }
            return;
        }
    }
    let _ = tokio::signal::ctrl_c().await;
}

async fn bind(at: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(at).await.map_err(|e| {
        let remedy = match e.kind() {
            std::io::ErrorKind::AddrInUse => {
                "Another program uses this port, perhaps this one. Close it, or choose another with `--port`."
            }
            std::io::ErrorKind::PermissionDenied => "Choose a port above 1023 with `--port`.",
            _ => "Choose another port with `--port`.",
        };
        Failure::outside(format!("{at} could not be opened: {e}."), remedy)
    })
}

fn address(listener: &TcpListener) -> Result<SocketAddr, Failure> {
    listener
        .local_addr()
        .map_err(|e| Failure::outside(format!("The address is not known: {e}."), "Try again."))
}

/// This machine's address on its network. No packet is sent: the system only says from which
/// address it would send one.
fn network_address() -> Result<IpAddr, Failure> {
    let found = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0))
        .and_then(|s| {
            // an address for documentation (RFC 5737); nothing goes there
            s.connect((Ipv4Addr::new(192, 0, 2, 1), 9))?;
            s.local_addr()
        })
        .map(|a| a.ip());
    match found {
        Ok(ip) if !ip.is_unspecified() && !ip.is_loopback() => Ok(ip),
        _ => Err(Failure::outside(
            "This machine is on no network.",
            "Join the network that the phone is on, or leave `--lan` out.",
        )),
    }
}

/// Sees to it that a passcode is set.
fn passcode(shop: &Shop, file: Option<&Path>, now: At) -> Result<(), Failure> {
    if let Some(file) = file {
        let text = std::fs::read_to_string(file).map_err(|e| {
            Failure::outside(
                format!("{} could not be read: {e}.", file.display()),
                "Write the passcode into a file of one line and name it.",
            )
        })?;
        let text = text.lines().next().unwrap_or("").trim();
        if text.chars().count() < access::SHORTEST {
            return Err(Failure::misuse(
                format!("The passcode has fewer than {} signs.", access::SHORTEST),
                "Choose a longer one.",
            ));
        }
        let kept = access::kept(text).ok_or_else(|| {
            Failure::outside("There are no random numbers on this system.", "Try again.")
        })?;
        let stamp = Stamp {
            at: now,
            bench: "Desk".to_owned(),
        };
        return shop
            .write(&stamp, |w| w.set_setting("passcode", &kept))
            .map_err(|e| refused(&e));
    }
    let set = shop
        .read(|r| r.setting("passcode"))
        .map_err(|e| refused(&e))?;
    if set.is_none_or(|s| s.is_empty()) {
        return Err(Failure::misuse(
            "Other devices come in only with a passcode, and none is set.",
            "Set one on the page Settings (start without `--lan` for that), or write it into a file and name it with `--passcode-file FILE`.",
        ));
    }
    Ok(())
}

/// Where a shop usually is on this system.
pub(crate) fn usual_folder() -> Result<PathBuf, Failure> {
    let var = |name: &str| {
        std::env::var_os(name)
            .filter(|v| !v.is_empty())
            .map(PathBuf::from)
    };
    let home = || var("HOME");
    let base = if cfg!(windows) {
        var("APPDATA")
    } else if cfg!(target_os = "macos") {
        home().map(|h| h.join("Library/Application Support"))
    } else {
        var("XDG_DATA_HOME").or_else(|| home().map(|h| h.join(".local/share")))
    };
    base.map(|b| b.join("tubewright/shop")).ok_or_else(|| {
        Failure::misuse(
            "It is not known where your files are (HOME is not set).",
            "Name the shop's folder with `--shop FOLDER`.",
        )
    })
}

/// A record that says no, as a command's failure.
pub(crate) fn refused(e: &ShopError) -> Failure {
    match e {
        ShopError::Refused(_) | ShopError::NotAShop(_) | ShopError::Missing(_) => {
            Failure::misuse(e.to_string(), e.remedy())
        }
        ShopError::Damaged(_) => Failure::input(e.to_string(), e.remedy()),
        _ => Failure::outside(e.to_string(), e.remedy()),
    }
}
