//! The desk role: the feed of cases with a resumable cursor, and what people do about them.
