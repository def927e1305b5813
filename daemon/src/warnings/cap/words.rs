//! The words that the standard lists, each to be written exactly so (section 3.2).

use agronomy::crop::Severity;
use serde::{Deserialize, Serialize};

/// One closed list of words: the enum, and how each is written.
macro_rules! listed {
    ($(#[$about:meta])* $name:ident { $($(#[$what:meta])* $word:ident,)+ }) => {
        $(#[$about])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum $name {
            $($(#[$what])* $word,)+
        }

        impl $name {
            /// The word as the standard writes it; none for anything else, also in other case.
            pub fn of(word: &str) -> Option<Self> {
                $(if word == stringify!($word) {
                    return Some(Self::$word);
                })+
                None
            }
        }
    };
}

listed! {
    /// What a message is for (`status`).
    Status {
        /// To be acted on.
        Actual,
        /// Part of an exercise.
        Exercise,
        /// Between the systems that pass messages on.
        System,
        /// A technical test.
        Test,
        /// Not meant for anybody yet.
        Draft,
    }
}

listed! {
    /// What a message does (`msgType`).
    MessageKind {
        /// Says something for the first time.
        Alert,
        /// Takes the place of the messages it refers to.
        Update,
        /// Takes back the messages it refers to.
        Cancel,
        /// Says that messages were received.
        Ack,
        /// Says that messages were not understood.
        Error,
    }
}

listed! {
    /// Who may know (`scope`).
    Scope {
        /// Everybody.
        Public,
        /// Those whom a rule names.
        Restricted,
        /// Those who are addressed.
        Private,
    }
}

listed! {
    /// What kind of event it is (`category`).
    Category {
        /// The ground.
        Geo,
        /// The weather.
        Met,
        /// General safety.
        Safety,
        /// Law enforcement, and safety from attack.
        Security,
        /// Rescue and recovery.
        Rescue,
        /// Fire.
        Fire,
        /// Health.
        Health,
        /// Pollution and other things of the environment.
        Env,
        /// Transport.
        Transport,
        /// Supply of water, power, words.
        Infra,
        /// Chemical, biological, radiological, nuclear or explosive.
        CBRNE,
        /// Anything else.
        Other,
    }
}

listed! {
    /// What people are asked to do (`responseType`).
    Response {
        /// Take shelter.
        Shelter,
        /// Leave.
        Evacuate,
        /// Prepare.
        Prepare,
        /// Do what was planned.
        Execute,
        /// Keep away.
        Avoid,
        /// Follow the news.
        Monitor,
        /// Weigh it up.
        Assess,
        /// It is over.
        AllClear,
        /// Nothing.
        None,
    }
}

listed! {
    /// How soon something is to be done (`urgency`).
    Urgency {
        /// At once.
        Immediate,
        /// Within the next hour.
        Expected,
        /// In the near future.
        Future,
        /// Not any more.
        Past,
        /// Not said.
        Unknown,
    }
}

listed! {
    /// How sure it is (`certainty`).
    Certainty {
        /// It has happened or goes on.
        Observed,
        /// More than one in two.
        Likely,
        /// No more than one in two.
        Possible,
        /// Not expected.
        Unlikely,
        /// Not said.
        Unknown,
    }
}

/// How bad it is (`severity`), but for the fifth word, "Unknown".
pub(super) fn severity(word: &str) -> Option<Severity> {
    match word {
        "Extreme" => Some(Severity::Extreme),
        "Severe" => Some(Severity::Severe),
        "Moderate" => Some(Severity::Moderate),
        "Minor" => Some(Severity::Minor),
        _ => None,
    }
}
