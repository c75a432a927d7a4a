//! The client library for gateways: spool on disk, batch, retry, convert units of measure.
