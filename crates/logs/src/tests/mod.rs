//! Tests of whole logs, through the public interface.

mod damage;
mod hostile;
mod reading;
mod twin;
