//! `decide.html`: everything that waits for a person on one page that needs no network and no server:
//! each question with its evidence and a small picture, answered by keyboard, saved as one file.
//! Without scripts it is a list to read and to print; answers then go into `decide.xlsx` or the CSV
//! files. Opens no file and decides nothing.

mod outline;
mod question;

use maud::{Markup, PreEscaped, html};
use serde::Serialize;

use super::html_page::Page;
pub use outline::{OutlineKind, OutlineLine, OutlinePicture, Seen};
use question::article;
use tidydose_table::run::CAUTION;
use tidydose_table::user::answers::COLUMNS;
use tidydose_table::user::questions::{NameWord, Place, Question, name_words};

/// Name of the file in a study folder.
pub const FILE: &str = "decide.html";

/// What the page is made of.
#[derive(Debug, Clone, Copy)]
pub struct Request<'r> {
    /// The questions in their order.
    pub questions: &'r [Question],
    /// Pictures of structures that questions are about.
    pub pictures: &'r [OutlinePicture],
}

/// What the script works on.
#[derive(Serialize)]
struct Data<'r> {
    columns: [&'static str; 10],
    files: Vec<(Place, &'static str)>,
    words: Vec<NameWord>,
    questions: &'r [Question],
}

/// The page.
///
/// # Errors
/// When the questions cannot be written as data, which no text in them can cause.
pub fn page(request: &Request<'_>) -> Result<String, serde_json::Error> {
    let questions = request.questions;
    let data = Data {
        columns: COLUMNS,
        files: PLACES.iter().map(|place| (*place, place.file())).collect(),
        words: name_words(),
        questions,
    };
    // No text can end the element that holds it.
    let data = serde_json::to_string(&data)?.replace('<', "\\u003c");
    let page = Page {
        title: "To decide".to_owned(),
        skip: ("#ask".to_owned(), "Skip to the question"),
        images: false,
        head: head(request),
        script: Some(include_str!("answer.js")),
    };
    Ok(page.with_style(include_str!("decide.css"), &html! {
        (how(request))
        div.desk {
            (list(questions))
            section #ask aria-labelledby="ask-h" {
                h2 #ask-h tabindex="-1" { "Questions" }
                noscript {
                    p.note { "This browser runs no scripts: read here, and answer in decide.xlsx or \
                         in the CSV files, which hold the same questions." }
                }
                (form())
                @if questions.is_empty() { p { "Nothing is open." } }
                @for (n, question) in (1..).zip(questions) {
                    (article(n, question, request.pictures))
                }
            }
        }
        script #data type="application/json" { (PreEscaped(data)) }
    }))
}

const PLACES: [Place; 7] = [
    Place::Choices,
    Place::Names,
    Place::Prescriptions,
    Place::Lesions,
    Place::ClinicalLesions,
    Place::Sums,
    Place::Findings,
];

fn head(request: &Request<'_>) -> Markup {
    let count = request.questions.len();
    let back = request.questions.iter().filter(|q| q.place.holds_back()).count();
    html! {
        header {
            h1 { "To decide" }
            p.caution role="note" { (CAUTION) }
            p {
                (count) @if count == 1 { " question is" } @else { " questions are" } " open. "
                @if back > 0 {
                    (back) " of them hold back values or make them uncertain; they come first, and of \
                     these the ones that most cases wait for. "
                }
                "The program proposes and never decides: what you leave open stays open."
            }
        }
    }
}

fn how(request: &Request<'_>) -> Markup {
    html! {
        section #state aria-labelledby="state-h" {
            h2 #state-h { "Progress" }
            div.progress {
                label for="done" { "Answered: " strong #count { "0 of " (request.questions.len()) } }
                progress #done max=(request.questions.len().max(1)) value="0" {}
            }
            div.controls #saving hidden[true] {
                label { "Who decides (kept with the answers, may stay empty)"
                    input #who autocomplete="off"; }
                button #save type="button" { "Save answers" }
                p #kept role="status" {}
            }
            details {
                summary { "How it works" }
                ul {
                    li { "Type a part of a word or of its meaning, choose with " kbd { "↑" } " "
                        kbd { "↓" } ", take it with " kbd { "Enter" } ": the next open question \
                         follows. Where a proposal is marked, " kbd { "Enter" } " alone takes it." }
                    li { kbd { "Page Down" } " leaves a question open and goes on, " kbd { "Page Up" }
                        " goes back, " kbd { "Esc" } " clears what was typed." }
                    li { "Save gives one file, answers.csv. Put it into the study folder and run the \
                         same command again (or name it with --decisions): the answers are checked \
                         and go into the CSV files that keep decisions, and this page is made anew." }
                    li { "The same questions are in decide.xlsx, for a spreadsheet. What was typed here \
                         is kept by this browser until it is saved; nothing is sent anywhere." }
                }
            }
        }
    }
}

fn list(questions: &[Question]) -> Markup {
    html! {
        nav #list aria-label="Questions" {
            details open {
                summary { "All questions" }
                @for place in PLACES {
                    @let own: Vec<(usize, &Question)> =
                        (1..).zip(questions).filter(|(_, q)| q.place == place).collect();
                    @if !own.is_empty() {
                        h3 { (place.heading()) }
                        ol.questions {
                            @for (n, question) in own {
                                li { a href={ "#q" (n) } { (question.title) }
                                    span.sub { (waiting(question)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// How many cases wait.
fn waiting(question: &Question) -> String {
    match question.cases {
        0 => String::new(),
        1 => "1 case".to_owned(),
        n => format!("{n} cases"),
    }
}

/// The one form, which the script lays below the question that is open.
fn form() -> Markup {
    html! {
        form #answer hidden[true] aria-label="Answer" {
            div #for-whom {
                label for="scope" { "The answer holds for" }
                select #scope {}
            }
            label for="word" #word-label { "Answer" }
            input #word role="combobox" aria-expanded="true" aria-controls="words"
                aria-autocomplete="list" aria-describedby="said" autocomplete="off"
                spellcheck="false";
            ul #words role="listbox" aria-label="Accepted answers" {}
            p #said role="status" {}
            label for="why" { "Comment (may stay empty)" }
            input #why autocomplete="off";
            div.buttons {
                button type="submit" { "Take " kbd { "Enter" } }
                button #unsure type="button" { "Not sure, next " kbd { "Page Down" } }
                button #back type="button" { "Back " kbd { "Page Up" } }
                button #remove type="button" { "Remove answer" }
            }
        }
    }
}

#[cfg(test)]
mod tests;
