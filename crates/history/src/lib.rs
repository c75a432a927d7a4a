//! Questions answered from the archive with polars: one unit's readings, summaries for the eye.
