//! Cases, what people did about them, the registry of units and loads, and the feed cursor.
