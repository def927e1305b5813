//! Signs of disease: when the weather of the last days says that it is time to look at the leaves.
//!
//! Most leaf diseases need hours of wet leaf in a band of temperature. A probe in the air sees neither spore nor
//! leaf, so a rule met is a reason to look, never a finding, and a rule not met is no all-clear. What follows from
//! here is always to look for something and to let the leaves dry; what is done about a find is the grower's, by
//! the label and local rules.
//!
//! **Wet** means air of 90 % or more where nothing else is known ([`wetness`]). Saturated air counts as wet, and
//! so does what a wetted probe says above 100 %. A probe above the canopy understates the hours: read them as "at
//! least". The rules were fitted outdoors, on fields; under cover they are borrowed, and [`words`] says so.
//!
//! Only rules that could be read somewhere stand here, each with how well it is known
//! ([`Standing`](crate::crop::Standing)). Left out until the originals can be read: the model for grey mould of
//! strawberries and the severity table for potato blight. The table of [`severity`] stands here, and is not told from
//! until it has been held against a printed one.
//!
//! Every rule goes by days, or by nights, which belong to the day of their morning. A day that was measured for less
//! than 18 hours is unknown (`None`), and an unknown day never completes a rule.

pub mod grey_mould;
pub mod infection;
pub mod late_blight;
pub mod mildew;
pub mod severity;
pub mod spider_mite;
pub mod wetness;
pub mod words;
