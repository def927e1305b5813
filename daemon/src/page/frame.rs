//! The sheet every view hangs in: head, lintel, what was just noted, the view, and the page names at the foot.

use maud::{DOCTYPE, Markup, html};

use super::entries;
use super::figures::Civil;
use crate::glance::{Glance, Makeshift, Tone};

/// The page names, in order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum View {
    Now,
    Ahead,
    Season,
    Diary,
    Ground,
    Letter,
    Other,
}

const NAMES: [(View, &str, &str); 6] = [
    (View::Now, "/", "Now"),
    (View::Ahead, "/ahead", "Ahead"),
    (View::Season, "/season", "Season"),
    (View::Diary, "/diary", "Diary"),
    (View::Ground, "/ground", "Ground"),
    (View::Letter, "/letter", "Letter"),
];

/// The beam with its sentence.
pub(crate) struct Lintel {
    /// What its colour says.
    pub(crate) tone: Tone,
    /// Left above the sentence.
    pub(crate) place: String,
    /// The sentence.
    pub(crate) order: String,
    /// Its reason.
    pub(crate) why: String,
    /// What else hangs in the lintel: answers, figures, other notices.
    pub(crate) more: Markup,
}

/// What a form just did, from the address: an entry noted, or one undone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Did {
    pub(crate) noted: Option<i64>,
    pub(crate) undone: Option<i64>,
}

fn tone_word(tone: Tone) -> &'static str {
    match tone {
        Tone::Well => "well",
        Tone::Soon => "soon",
        Tone::Past => "past",
        Tone::Blind => "blind",
    }
}

/// A whole page.
pub(crate) fn page(view: View, glance: &Glance, did: Did, lintel: &Lintel, main: &Markup) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    // A page without a name of its own is called by what it says.
    let said = lintel.order.trim_end_matches('.');
    let title = NAMES.iter().find(|name| name.0 == view).map_or(said, |name| name.2);
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) ": Glasshour" }
                link rel="stylesheet" href="/page.css";
                link rel="icon" href="/mark.svg" type="image/svg+xml";
                script src="/page.js" defer {}
            }
            body data-at=(glance.at_ms) {
                a.skip href="#main" { "To the figures" }
                header.lintel.(tone_word(lintel.tone)) id="lintel" {
                    div.column {
                        p.where { span { (lintel.place) } span { (civil.head(glance, Civil::day)) } }
                        p.stale id="stale" role="status" hidden { "" }
                        h1 { (lintel.order) }
                        @if !lintel.why.is_empty() { p.why { (lintel.why) } }
                        (lintel.more)
                    }
                }
                main id="main" data-at=(glance.at_ms) {
                    (refusal(glance))
                    (just(view, glance, did))
                    (main)
                }
                nav aria-label="Pages" {
                    div.column {
                        @for (name, address, word) in NAMES {
                            @if name != View::Letter {
                                a href=(address) aria-current=[(name == view).then_some("page")] { (word) }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// The banners that stand on every page: while something is done without, no courier gets through, nothing can be stored.
fn refusal(glance: &Glance) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    html! {
        @for Makeshift { what, remedy } in &glance.board.makeshift {
            div.banner role="alert" { p { strong { (what) } " " (remedy) } }
        }
        @if let Some(since) = glance.board.nobody_told_ms {
            div.banner role="alert" {
                p { strong { "Nobody has been told since " (civil.when(since, glance.at_ms)) "." } " No courier got through; each notice says why." }
            }
        }
        @if let Some((why, since)) = &glance.board.storage_refused {
            div.banner role="alert" {
                p { strong { "Nothing can be stored since " (civil.when(*since, glance.at_ms)) ": " (why) "." } }
                p { "What was noted before is safe and still shown. Warnings still go out, marked as not recorded. Make room on the board's disk; it resumes by itself." }
            }
        }
    }
}

/// "noted 13:16", with its undo.
fn just(view: View, glance: &Glance, did: Did) -> Markup {
    let civil = Civil(glance.civil_offset_s);
    let back = NAMES.iter().find(|name| name.0 == view).map_or("/", |name| name.1);
    html! {
        @if let Some(id) = did.noted {
            @let entry = glance.entries.iter().find(|entry| entry.id == id);
            div.just id="noted" role="status" {
                p {
                    strong { "noted " (civil.clock(entry.map_or(glance.at_ms, |entry| entry.at_ms))) }
                    @if let Some(entry) = entry {
                        @let (words, more) = entries::words(&entry.note, glance);
                        " " (words) @if !more.is_empty() { ", " (more) }
                    }
                }
                @if entry.is_none_or(|entry| entries::undoable(&entry.note)) { (undo(id, back, "undo")) }
            }
        }
        @if let Some(id) = did.undone {
            p.just id="noted" role="status" { strong { "undone" } " entry " (id) " no longer counts" }
        }
    }
}

/// The button that takes an entry back.
pub(crate) fn undo(entry: i64, back: &str, word: &str) -> Markup {
    html! {
        form.undo method="post" action="/undo" {
            input type="hidden" name="entry" value=(entry);
            input type="hidden" name="back" value=(back);
            button { (word) }
        }
    }
}

/// The page for an address that leads nowhere, and for a form that was refused.
pub(crate) fn other(glance: &Glance, order: &str, why: &str, back: &str) -> Markup {
    other_with(glance, order, why, back, &html! {})
}

/// The same with something beside the way back.
pub(crate) fn other_with(glance: &Glance, order: &str, why: &str, back: &str, more: &Markup) -> Markup {
    let lintel = Lintel {
        tone: Tone::Blind,
        place: glance.site.clone(),
        order: order.to_owned(),
        why: why.to_owned(),
        more: html! {},
    };
    page(
        View::Other,
        glance,
        Did::default(),
        &lintel,
        &html! { (more) p.pg { a.big href=(back) { "Go back" } } },
    )
}
