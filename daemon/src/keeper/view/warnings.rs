//! Public warnings as the glance has them.

use super::super::engine::Engine;
use crate::glance::WarningGlance;
use crate::warnings::standing::{Standing, in_force};

/// The warnings in force or to come at the engine's moment.
pub(super) fn glance(engine: &Engine) -> Vec<WarningGlance> {
    in_force(engine.entries(), engine.now_ms()).into_iter().map(shown).collect()
}

fn shown(Standing { message, said, from_ms, to_ms }: Standing<'_>) -> WarningGlance {
    WarningGlance {
        hazard: said.hazard,
        severity: said.severity,
        urgency: said.urgency,
        certainty: said.certainty,
        from_ms,
        to_ms,
        end_told: said.expires_ms.is_some(),
        sent_ms: message.name.sent_ms,
        sender: message.name.sender.clone(),
        sender_name: said.sender_name.clone(),
        event: said.event.clone(),
        headline: said.headline.clone(),
        description: said.description.clone(),
        instruction: said.instruction.clone(),
        web: said.web.clone(),
        area: said.area.clone(),
        language: said.language.clone(),
        heard_from: message.heard_from.clone(),
    }
}
