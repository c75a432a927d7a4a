use serde::{Deserialize, Serialize};

/// How the desk role serves.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DeskConfig {
    /// A follower hears at least this often that the server is alive, seconds. Default 15, at least 1.
    pub heartbeat_seconds: u32,
    /// How long a description waits to be visible to readers before its caller is answered, seconds. Default 5.
    pub settle_seconds: u32,
}

impl Default for DeskConfig {
    fn default() -> Self {
        Self { heartbeat_seconds: 15, settle_seconds: 5 }
    }
}

impl DeskConfig {
    /// Names the first field that cannot work.
    pub fn check(&self) -> Result<(), String> {
        if self.heartbeat_seconds == 0 {
            return Err("desk.heartbeat_seconds is 0; at least 1 is needed".to_owned());
        }
        Ok(())
    }
}
