use anyhow::{Context, Result, anyhow};
use rimeline_wire::pb::feed_service_client::FeedServiceClient;
use rimeline_wire::pb::registry_service_client::RegistryServiceClient;
use rimeline_wire::pb::unit_service_client::UnitServiceClient;
use rimeline_wire::pb::weekly_service_client::WeeklyServiceClient;
use tonic::transport::{Channel, Endpoint};

/// Largest answer taken: a history or a fleet's cases can be long.
const MAX_ANSWER: usize = 256 << 20;

/// A server that answers.
#[derive(Clone)]
pub(crate) struct Client(Channel);

impl Client {
    pub(crate) async fn connect(server: &str) -> Result<Self> {
        let endpoint = Endpoint::from_shared(server.to_owned())
            .with_context(|| format!("`{server}` is no server address; http://HOST:PORT is"))?;
        let channel = endpoint.connect().await.with_context(|| {
            format!(
                "no rimeline server answers at {server}; is `rimeline serve` running, or is --server wrong?"
            )
        })?;
        Ok(Self(channel))
    }

    pub(crate) fn feed(&self) -> FeedServiceClient<Channel> {
        FeedServiceClient::new(self.0.clone()).max_decoding_message_size(MAX_ANSWER)
    }

    pub(crate) fn registry(&self) -> RegistryServiceClient<Channel> {
        RegistryServiceClient::new(self.0.clone()).max_decoding_message_size(MAX_ANSWER)
    }

    pub(crate) fn weekly(&self) -> WeeklyServiceClient<Channel> {
        WeeklyServiceClient::new(self.0.clone()).max_decoding_message_size(MAX_ANSWER)
    }

    pub(crate) fn unit(&self) -> UnitServiceClient<Channel> {
        UnitServiceClient::new(self.0.clone()).max_decoding_message_size(MAX_ANSWER)
    }
}

/// What a server said is wrong, without the wire's decoration.
#[allow(clippy::needless_pass_by_value)] // The shape that `map_err` wants.
pub(crate) fn refused(status: tonic::Status) -> anyhow::Error {
    anyhow!("{}", status.message()).context(format!("the server said {:?}", status.code()))
}
