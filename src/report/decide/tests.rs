//! The page as text.

use super::*;
use tidydose_rt::identity::Token;
use tidydose_table::user::questions::{Accepts, Fact, Key, Part, Suggestion};

fn question(place: Place, title: &str, cases: usize) -> Question {
    let key = Key::of(place, title);
    Question {
        place,
        title: title.to_owned(),
        asks: "What is it?".to_owned(),
        cases,
        facts: vec![Fact { what: "Volume", seen: "24.4 cc".to_owned() }],
        accepts: Accepts::Name,
        suggestions: vec![Suggestion {
            answer: "Brainstem".to_owned(),
            why: "its words may mean it".to_owned(),
            likely: true,
        }],
        all: Some(key.clone()),
        all_words: "2 structures".to_owned(),
        parts: vec![Part {
            key: key.in_plan("p").of_roi(2),
            title: "plan p".to_owned(),
            seen: String::new(),
            structure: Some((Token::new("p"), 2)),
        }],
        volume_cc: Some(24.4),
    }
}

fn square(name: &str, kind: OutlineKind, half: f64) -> OutlineLine {
    let points = vec![[-half, -half], [half, -half], [half, half], [-half, half]];
    OutlineLine { name: name.to_owned(), kind, points }
}

fn made(questions: &[Question]) -> String {
    let lines = vec![
        square("Tronco", OutlineKind::Own, 10.0),
        square("Cerebellum", OutlineKind::Organ, 30.0),
    ];
    let seen = Seen { directions: ['L', 'P'], plane_mm: -30.0, reach_mm: 60.0, lines };
    let name = "Tronco".to_owned();
    let pictures =
        [OutlinePicture { plan_id: "p".to_owned(), roi_number: 2, name, seen: Ok(seen) }];
    page(&Request { questions, pictures: &pictures }).unwrap()
}

#[test]
fn a_question_stands_there_with_evidence_picture_and_what_is_proposed() {
    let page = made(&[question(Place::Names, "Tronco", 14)]);
    for wanted in [
        tidydose_table::run::CAUTION,
        "1 question is open",
        "14 cases",
        "24.4 cc",
        "<strong>Brainstem</strong> (its words may mean it)",
        "Around it: Cerebellum. Right edge: patient's left; lower edge: back.",
        "points=\"100.0 100.0 140.0 100.0 140.0 140.0 100.0 140.0\"",
        "default-src 'none'",
    ] {
        assert!(page.contains(wanted), "{wanted}");
    }
    assert!(!page.contains("http:") && !page.contains("https:") && !page.contains("<link"));
    let none = made(&[]);
    assert!(none.contains("0 questions are open") && none.contains("Nothing is open."));
}

/// A name in a file may be anything.
#[test]
fn no_name_ends_the_data_or_begins_an_element() {
    let page = made(&[question(Place::Names, "</script><b onclick=x>", 1)]);
    assert!(!page.contains("</script><b"), "as data");
    assert!(!page.contains("<b onclick"), "as text");
    let data = page.split("type=\"application/json\">").nth(1).unwrap();
    let data = data.split("</script>").next().unwrap();
    let read: serde_json::Value = serde_json::from_str(data).unwrap();
    assert_eq!(read["questions"][0]["title"], "</script><b onclick=x>");
    assert_eq!(read["questions"][0]["all"]["place"], "names");
    assert_eq!(read["questions"][0]["accepts"], "name");
    assert_eq!(read["columns"][0], "file");
}

#[test]
fn where_there_is_no_picture_the_reason_stands() {
    let mut one = question(Place::Names, "Tronco", 1);
    one.parts[0].structure = Some((Token::new("q"), 1));
    assert!(made(&[one]).contains("No picture: the contours were not read"));
    let reason = Err("it has no closed contours".to_owned());
    let name = "x".to_owned();
    let drawn = OutlinePicture { plan_id: "p".to_owned(), roi_number: 2, name, seen: reason };
    let text = drawn.drawn("q1-0").into_string();
    assert!(text.contains("No picture of ROI Number 2 of plan p: it has no closed contours."));
}
