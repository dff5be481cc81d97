//! Connections, bounded: so many at once, and none on which nothing moves.
//!
//! A reader that takes nothing is let go after some time, so that it does not keep a place from others.

use std::future::Future;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::serve::Listener;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::{Instant, Sleep, sleep};

/// Connections at once.
pub const MOST_CONNECTIONS: usize = 60;

/// A connection on which nothing moved for so long is let go.
const IDLE: Duration = Duration::from_secs(20);

/// Takes so many connections and no more.
#[derive(Debug)]
pub struct Bounded {
    listener: TcpListener,
    places: Arc<Semaphore>,
}

impl Bounded {
    /// Takes the connections of a listener.
    pub fn new(listener: TcpListener) -> Bounded {
        Bounded {
            listener,
            places: Arc::new(Semaphore::new(MOST_CONNECTIONS)),
        }
    }
}

impl Listener for Bounded {
    type Io = Connection;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> (Connection, SocketAddr) {
        loop {
            let place = self.places.clone().acquire_owned().await;
            match (self.listener.accept().await, place) {
                (Ok((stream, address)), Ok(place)) => {
                    // Values are small and are to come at once.
                    let _ = stream.set_nodelay(true);
                    let connection = Connection {
                        stream,
                        idle: Box::pin(sleep(IDLE)),
                        _place: place,
                    };
                    return (connection, address);
                }
                // Out of files, or the other side has left already: others may come through.
                _ => sleep(Duration::from_millis(100)).await,
            }
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }
}

/// A connection that ends when nothing moves on it.
#[derive(Debug)]
pub struct Connection {
    stream: TcpStream,
    idle: Pin<Box<Sleep>>,
    _place: OwnedSemaphorePermit,
}

impl Connection {
    /// Looks after one attempt: what moved something sets the time anew.
    fn watched<T>(
        &mut self,
        context: &mut Context<'_>,
        attempt: Poll<io::Result<T>>,
    ) -> Poll<io::Result<T>> {
        if attempt.is_ready() {
            self.idle.as_mut().reset(Instant::now() + IDLE);
            return attempt;
        }
        match self.idle.as_mut().poll(context) {
            Poll::Ready(()) => Poll::Ready(Err(io::ErrorKind::TimedOut.into())),
            Poll::Pending => Poll::Pending,
        }
    }
}

impl AsyncRead for Connection {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        let attempt = Pin::new(&mut self.stream).poll_read(context, buffer);
        self.watched(context, attempt)
    }
}

impl AsyncWrite for Connection {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let attempt = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.watched(context, attempt)
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        parts: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let attempt = Pin::new(&mut self.stream).poll_write_vectored(context, parts);
        self.watched(context, attempt)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }
}
