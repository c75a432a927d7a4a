//! The ingest role: verdict per item, durable before acknowledged.
