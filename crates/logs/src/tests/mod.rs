//! Tests of whole logs, through the public interface.

mod damage;
mod hostile;
mod pcapng;
mod reading;
mod twin;
