use anyhow::Result;
use rimeline_wire::pb;

use crate::cli::{ActionWord, CaseOptions};
use crate::client::{Client, refused};
use crate::show;

/// Writes down what a person did about a case, then shows everything people wrote on it.
pub(crate) async fn run(options: CaseOptions) -> Result<()> {
    let client = Client::connect(&options.server.server).await?;
    if let Some(action) = &options.action {
        let kind = match action {
            ActionWord::Acknowledge => pb::ActionKind::Acknowledge,
            ActionWord::Shelve => pb::ActionKind::Shelve,
            ActionWord::Unshelve => pb::ActionKind::Unshelve,
            ActionWord::Note => pb::ActionKind::Note,
            ActionWord::HandOver => pb::ActionKind::HandOver,
            ActionWord::Finding => pb::ActionKind::Finding,
            ActionWord::Serviced => pb::ActionKind::Serviced,
        };
        let action = pb::Action {
            by: options.by.unwrap_or_default(),
            kind: kind.into(),
            text: options.text.unwrap_or_default(),
            until_ms: options.until.as_deref().map_or(Ok(0), show::parse_time)?,
            ..pb::Action::default()
        };
        let request = pb::RecordActionRequest { case_id: options.case.clone(), action: Some(action) };
        client.feed().record_action(request).await.map_err(refused)?;
    }
    let request = pb::GetCaseRequest { case_id: options.case };
    let answer = client.feed().get_case(request).await.map_err(refused)?.into_inner();
    let case = answer.case.unwrap_or_default();
    show::out(&format!("{} {}: {} [{}]", case.case_id, case.unit, case.headline, show::stage(case.stage)))?;
    for action in &answer.actions {
        let kind = show::word(action.kind().as_str_name(), "ACTION_KIND_");
        let until = if action.until_ms == 0 {
            String::new()
        } else {
            format!(" until {}", show::time(action.until_ms))
        };
        show::out(&format!("  {}  {}: {kind}{until}  {}", show::time(action.at_ms), action.by, action.text))?;
    }
    Ok(())
}
