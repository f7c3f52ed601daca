//! One question as it stands on the page.

use maud::{Markup, html};

use super::outline::OutlinePicture;
use super::waiting;
use tidydose_table::user::questions::{Accepts, Part, Question};

/// So many single things of a question are listed; the form has all.
const LISTED: usize = 50;

/// The question with its evidence; `n` counts from 1.
pub(super) fn article(n: usize, question: &Question, pictures: &[OutlinePicture]) -> Markup {
    let id = format!("q{n}");
    html! {
        article.question id=(id) aria-labelledby={ (id) "-h" } {
            h3 id={ (id) "-h" } tabindex="-1" {
                (question.title) " " span.metric { (question.place.heading()) }
            }
            p.asks { (question.asks) " "
                @let cases = waiting(question);
                @if !cases.is_empty() { span.waits { (cases) } }
            }
            div.slot {}
            div.evidence {
                (drawn(&id, question, pictures))
                dl.told {
                    @for fact in &question.facts {
                        div { dt { (fact.what) } dd { (fact.seen) } }
                    }
                }
            }
            (proposals(question))
            @if question.parts.len() > 1 || question.facts.is_empty() { (parts(question)) }
        }
    }
}

/// What is proposed and accepted, for those who read without scripts or on paper.
fn proposals(question: &Question) -> Markup {
    html! {
        div.still {
            @if !question.suggestions.is_empty() {
                p { "Proposed, the best first:" }
                ol {
                    @for suggestion in &question.suggestions {
                        li { strong { (suggestion.answer) } " (" (suggestion.why) ")" }
                    }
                }
            }
            p { "Accepted: " (accepted(&question.accepts)) "." }
        }
    }
}

fn accepted(accepts: &Accepts) -> String {
    match accepts {
        Accepts::Name => {
            "a standard name, role: with a role, or own: with a name of your own".into()
        }
        Accepts::Number(unit) => format!("a number of {unit}"),
        Accepts::Words(words) => {
            let words = words.iter().map(|w| format!("{} ({})", w.word, w.meaning));
            words.collect::<Vec<_>>().join("; ")
        }
    }
}

fn parts(question: &Question) -> Markup {
    let more = question.parts.len().saturating_sub(LISTED);
    html! {
        details.parts {
            summary { "One by one (" (question.parts.len()) ")" }
            ul {
                @for part in question.parts.iter().take(LISTED) {
                    li { (part.title) @if !part.seen.is_empty() { ": " (part.seen) } }
                }
                @if more > 0 { li { "and " (more) " more" } }
            }
        }
    }
}

fn drawn(id: &str, question: &Question, pictures: &[OutlinePicture]) -> Markup {
    let of = |part: &Part| {
        let (plan, number) = part.structure.as_ref()?;
        let same = |p: &&OutlinePicture| p.plan_id == plan.as_str() && p.roi_number == *number;
        pictures.iter().find(same)
    };
    let found: Vec<&OutlinePicture> = question.parts.iter().filter_map(of).collect();
    let asked = question.parts.iter().any(|p| p.structure.is_some());
    html! {
        @if !found.is_empty() {
            div.pictures {
                @for (k, picture) in found.iter().enumerate() {
                    (picture.drawn(&format!("{id}-{k}")))
                }
            }
        } @else if asked {
            p.note { "No picture: the contours were not read, or are too many to draw here." }
        }
    }
}
