//! The service: build, bind, serve, stop. It prints nothing; whoever runs it does.

use crate::api::client_address::Proxies;
use crate::api::{App, dispatch};
use crate::pages::settings::PageSettings;
use crate::pages::{self, Pages};
use crate::registry::anchor::key::PrivateKey;
use crate::registry::clock::{MachineClock, MachineIds};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::settings::Settings;
use crate::store::backend::Database;
use crate::store::error::StoreError;
use crate::surveillance::pack::Pack;
use axum::Router;
use std::future::Future;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::oneshot;

/// How long requests in flight may still take once the service is told to stop.
const DRAIN: Duration = Duration::from_secs(20);
/// How often the turn to enter the built-in rules is waited for; each time as long as a request waits for its turn.
const PATIENCE: usize = 30;

/// Why the service does not start, or why it stopped.
#[derive(Debug, thiserror::Error)]
pub enum ServiceError {
    /// The database cannot be opened.
    #[error("the database cannot be opened")]
    Database(#[from] StoreError),
    /// The built-in rules cannot be entered.
    #[error("the built-in rules cannot be entered")]
    Pack(#[source] Refusal),
    /// Lines of an earlier release cannot be taken into the access log.
    #[error("the lines of an earlier release cannot be taken into the access log")]
    AccessLog(#[source] Refusal),
    /// The address cannot be listened on.
    #[error("{address} cannot be listened on")]
    Listen {
        /// The address of the settings.
        address: String,
        /// The system's reason.
        #[source]
        source: std::io::Error,
    },
    /// The connection to the world broke.
    #[error("the service stopped")]
    Stopped(#[source] std::io::Error),
}

/// A registry that is listened for and not served yet.
#[derive(Debug)]
pub struct Service {
    registry: Registry,
    listener: TcpListener,
    address: SocketAddr,
    pages: PageSettings,
}

/// Everything that is served: the API and the pages, with one edge around both.
pub fn router(registry: Registry, settings: PageSettings) -> Router {
    let proxies = Proxies::new(settings.proxies.clone());
    let pages = Pages::new(registry.clone(), settings);
    let app = App::new(registry).behind(proxies).telling_people(pages::stopped::tell_outside);
    dispatch::router_beside(app, pages::dispatch::router(&pages))
}

/// Opens the registry of the settings: schema, durability, built-in rules, the key of its anchors.
///
/// # Errors
/// When the database cannot be opened or written.
pub async fn open(settings: &Settings) -> Result<Registry, ServiceError> {
    let registry = open_at(settings.database_url.reveal()).await?;
    // The settings have read it before.
    let key = settings.signing_key.as_ref().and_then(|key| PrivateKey::from_pem(key.reveal()).ok());
    Ok(match key {
        Some(key) => registry.signing_with(key),
        None => registry,
    })
}

/// Opens the registry of an address: schema, durability, built-in rules.
///
/// # Errors
/// When the database cannot be opened or written.
pub async fn open_at(database_url: &str) -> Result<Registry, ServiceError> {
    let registry = open_without_rules(database_url).await?;
    for _ in 1..PATIENCE {
        match registry.enter_pack(Pack::built_in()).await {
            // Another instance that starts for the first time is entering them.
            Err(Refusal::Busy) => {}
            entered => {
                entered.map_err(ServiceError::Pack)?;
                registry.take_in_lines().await.map_err(ServiceError::AccessLog)?;
                return Ok(registry);
            }
        }
    }
    registry.enter_pack(Pack::built_in()).await.map_err(ServiceError::Pack)?;
    registry.take_in_lines().await.map_err(ServiceError::AccessLog)?;
    Ok(registry)
}

/// The same without the built-in rules: a registry that may still be empty.
///
/// # Errors
/// When the database cannot be opened.
pub async fn open_without_rules(database_url: &str) -> Result<Registry, ServiceError> {
    let database = Database::open(database_url).await?;
    Ok(Registry::new(database, Arc::new(MachineClock), Arc::new(MachineIds::default())))
}

/// How the pages are reached, by the settings.
fn pages_of(settings: &Settings) -> PageSettings {
    PageSettings {
        public_url: settings.public_url.as_ref().map(|url| url.trim_end_matches('/').to_owned()),
        proxies: settings.proxies.clone(),
        demonstration: false,
    }
}

impl Service {
    /// Opens the registry and binds the address.
    ///
    /// # Errors
    /// What stands in the way of the start.
    pub async fn build(settings: &Settings) -> Result<Self, ServiceError> {
        let unable = |source| ServiceError::Listen { address: settings.listen.clone(), source };
        // Bound first: a second service on the same address stops before it touches the database.
        let listener = TcpListener::bind(&settings.listen).await.map_err(unable)?;
        let registry = open(settings).await?;
        let service = Self::with(registry, listener).map_err(unable)?;
        Ok(service.with_pages(pages_of(settings)))
    }

    /// A service over a registry and a listener made elsewhere.
    ///
    /// # Errors
    /// When the listener cannot tell its address.
    pub fn with(registry: Registry, listener: TcpListener) -> std::io::Result<Self> {
        let address = listener.local_addr()?;
        Ok(Self { registry, listener, address, pages: PageSettings::default() })
    }

    /// The same, with how its pages are reached.
    #[must_use]
    pub fn with_pages(self, pages: PageSettings) -> Self {
        Self { pages, ..self }
    }

    /// The address that is listened on; with port 0 the one that was given.
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// The registry.
    pub fn registry(&self) -> &Registry {
        &self.registry
    }

    /// Serves until told to stop; then no new connection is taken, and requests in flight get a deadline.
    ///
    /// # Errors
    /// When the listener breaks.
    pub async fn serve(self, stop: impl Future<Output = ()> + Send + 'static) -> Result<(), ServiceError> {
        let (told, stopping) = oneshot::channel();
        // Follows the marks beside the requests; it ends when its sender is dropped.
        let (following, ended) = oneshot::channel::<()>();
        let registry = self.registry.clone();
        let follower = tokio::spawn(async move { registry.follow_marks(async { drop(ended.await) }).await });
        let router = router(self.registry.clone(), self.pages);
        let router = router.into_make_service_with_connect_info::<SocketAddr>();
        let serving = axum::serve(self.listener, router).with_graceful_shutdown(async move {
            stop.await;
            // Nobody waits any more only if serving has ended already.
            let _ = told.send(());
        });
        let deadline = async {
            if stopping.await.is_err() {
                std::future::pending::<()>().await;
            }
            tokio::time::sleep(DRAIN).await;
        };
        let served = tokio::select! {
            served = serving.into_future() => served.map_err(ServiceError::Stopped),
            () = deadline => {
                tracing::warn!(deadline_s = DRAIN.as_secs(), "requests in flight were cut off at the deadline");
                Ok(())
            }
        };
        drop(following);
        // Marks that are not followed now are followed on the next start.
        match tokio::time::timeout(DRAIN, follower).await {
            Ok(Ok(())) => {}
            Ok(Err(error)) => {
                tracing::error!(error = &error as &dyn std::error::Error, "following the marks broke off");
            }
            Err(_) => tracing::warn!("following the marks was cut off at the deadline"),
        }
        let closing = self.registry.database.close();
        if tokio::time::timeout(DRAIN, closing).await.is_err() {
            tracing::warn!("the database did not close in time");
        }
        served
    }
}
