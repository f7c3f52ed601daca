//! The questions of small studies.

use super::*;
use crate::causes::causes;
use crate::structure_names::StructureNames;
use crate::testing::{ball, case_of, set_of};
use crate::user::lesion_file::LesionFile;
use crate::user::names::NamesFile;
use crate::user::prescriptions::PrescriptionsFile;
use crate::user::seen::EvidenceByCase;
use crate::user::states::States;
use crate::user::sums_file::SumsFile;
use crate::user::unmatched::Known;
use tidydose_case::{Case, Decisions, identify, proposals};
use tidydose_rt::finding::{Code, Finding, Subject};

/// Two patients with a brain and something that nobody has named: 4/3 π 18³ mm³ = 24.4 cc.
fn archive() -> (Vec<Case>, EvidenceByCase) {
    let mut cases = Vec::new();
    let mut evidence = EvidenceByCase::new();
    for id in ["p", "q"] {
        let mut case = case_of(&["Brain", "Tronco"]);
        case.id = Token::new(id);
        case.patient = Some(Token::new(format!("patient-{id}")));
        let set = set_of(vec![ball(1, [0.0; 3], 65.0), ball(2, [0.0, 20.0, -40.0], 18.0)]);
        evidence.insert(case.id.clone(), tidydose_analyse::review_shapes(&case, &set).evidence);
        cases.push(case);
    }
    (cases, evidence)
}

fn file<T>(read: impl Fn(&std::path::Path) -> T, name: &str, text: &str) -> T {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    if !text.is_empty() {
        std::fs::write(&path, text).unwrap();
    }
    read(&path)
}

#[test]
fn a_name_is_asked_once_with_what_was_seen_of_its_structures() {
    let (mut cases, evidence) = archive();
    let mut names = file(|p| NamesFile::read(p, &[]).unwrap(), "names.csv", "");
    names.propose(&proposals(&cases), &Default::default());
    let questions = of_names(&names, &cases, &evidence);
    let [question] = questions.as_slice() else { panic!("{questions:#?}") };
    assert_eq!((question.title.as_str(), question.cases), ("Tronco", 2));
    let first = &question.suggestions[0];
    assert_eq!((first.answer.as_str(), first.likely), ("Brainstem", true), "{question:#?}");
    let seen = |what: &str| {
        let fact = question.facts.iter().find(|f| f.what == what);
        fact.map_or(String::new(), |f| f.seen.clone())
    };
    assert_eq!(seen("How often"), "2 structures of 2 patients");
    assert!(seen("Volume").starts_with("24.") && seen("Volume").ends_with(" cc"), "{question:#?}");
    assert_eq!(seen("Nearest known structures"), "Brain 45 mm", "20² + 40² = 44.7²");
    assert_eq!(question.all, Some(Key::of(Place::Names, "Tronco")));
    let keys: Vec<_> = question
        .parts
        .iter()
        .map(|p| (p.key.plan_id.as_str(), p.key.roi_number.as_str()))
        .collect();
    assert_eq!(keys, [("p", "2"), ("q", "2")]);
    let mut decisions = Decisions::default();
    decisions.names.insert("Tronco".to_owned(), Default::default());
    identify(&mut cases, &decisions);
    assert_eq!(of_names(&names, &cases, &evidence), []);
}

#[test]
fn a_missing_prescription_is_asked_for_each_target_without_one() {
    let mut case = case_of(&["GTV1", "GTV2"]);
    case.left_out = None;
    case.prescriptions.clear();
    let prescriptions = file(|p| PrescriptionsFile::read(p).unwrap(), "prescriptions.csv", "");
    let questions = of_prescriptions(&prescriptions, std::slice::from_ref(&case));
    assert_eq!((questions.len(), questions[0].parts.len(), &questions[0].all), (1, 2, &None));
    assert_eq!(questions[0].parts[1].key.roi_number, "2");
    case.left_out = Some((Code::DoseSeveral, "no dose".to_owned()));
    assert!(of_prescriptions(&prescriptions, &[case]).is_empty());
}

#[test]
fn a_lesion_near_an_earlier_one_is_asked_about_until_somebody_decides() {
    let rows = "lesion_id,plan_id,structure,proposed_same_as,distance_mm,same_as\n\
                b/1,b,GTV,a/1,2.5,\nb/2,b,GTV2,,,\nb/3,b,GTV3,a/3,1,new\n";
    let questions = of_lesions(&file(|p| LesionFile::read(p).unwrap(), "lesions.csv", rows));
    assert_eq!(questions.len(), 1);
    assert_eq!(questions[0].suggestions[0].answer, "a/1");
    assert_eq!(questions[0].parts[0].structure, Some((Token::new("b"), 1)));
}

#[test]
fn doses_to_choose_from_are_those_of_the_evidence() {
    let mut case = case_of(&["GTV"]);
    let reason =
        "2 dose grids of the whole plan; one would be accepted: dose-1 (2 mm), dose-2 (1 mm)";
    case.left_out = Some((Code::DoseSeveral, reason.to_owned()));
    let objects = ["dose-1", "dose-2", "dose-3", "plan"].into_iter().collect();
    let known = Known { objects, ..Known::default() };
    let questions = of_choices(&[case], &known);
    let Accepts::Words(words) = &questions[0].accepts else { panic!("{questions:?}") };
    let words: Vec<&str> = words.iter().map(|w| w.word.as_str()).collect();
    assert_eq!(words, ["dose-1", "dose-2"]);
}

#[test]
fn findings_of_a_kind_are_one_question_and_come_last() {
    let finding = |plan: &str| {
        let subject =
            Subject { case: Some(Token::new(plan)), roi_number: Some(1), ..Subject::default() };
        Finding::new(Code::VolumeImplausible, subject, format!("small in {plan}"))
    };
    let list = [finding("p"), finding("q")];
    let causes = causes(list.iter().collect(), &StructureNames::default(), &States::default());
    let mut questions = of_findings(&causes);
    assert_eq!(questions.len(), 1);
    let all = questions[0].all.as_ref().map(|key| key.subject.as_str());
    assert_eq!((all, questions[0].parts.len()), (Some("all:volume-implausible"), 2));
    let (cases, evidence) = archive();
    let names = file(|p| NamesFile::read(p, &[]).unwrap(), "names.csv", "");
    questions.extend(of_names(&names, &cases, &evidence));
    questions[0].cases = 50;
    sort(&mut questions);
    assert_eq!(questions[0].place, Place::Names, "it holds back values");
}

#[test]
fn every_word_for_a_name_is_accepted_and_explained() {
    let words = name_words();
    assert!(words.len() > 150 && words.iter().all(|w| !w.meaning.is_empty()));
    for word in &words {
        let own = word.word.strip_prefix(ROLE);
        let known = own.map_or_else(
            || tidydose_case::is_standard_name(&word.word),
            |role| role.parse::<tidydose_case::Role>().is_ok(),
        );
        assert!(known, "{word:?}");
        assert_eq!(word.plausible_cc.is_some(), !word.source.is_empty(), "{word:?}");
    }
    assert!(Place::of_file("NAMES.CSV") == Some(Place::Names) && Place::of_file("x").is_none());
}

#[test]
fn plans_that_may_be_added_up_are_one_question_for_each_patient() {
    let text = "patient_id,plan_id,day_plan,fractions,frame_of_latest,sum,basis\n\
                Q,a,10,1,no,,\nQ,b,20,5,yes,,\nR,c,1,1,yes,all,eqd2\nR,d,9,1,yes,,apart\n\
                S,e,1,1,yes,all,physical\nS,f,1,3,yes,,\n";
    let sums = file(|p| SumsFile::read(p).unwrap(), "sums.csv", text);
    let questions = of_sums(&sums);
    let titles: Vec<&str> = questions.iter().map(|q| q.title.as_str()).collect();
    assert_eq!(titles, ["patient Q, 2 plans", "patient S, 1 plan"]);
    let first = &questions[0];
    let seen: Vec<&str> = first.parts.iter().map(|p| p.seen.as_str()).collect();
    let far = "day 10, 1 fraction, no registration to the images of the latest plan";
    assert_eq!(seen, [far, "day 20, 5 fractions"]);
    let all = first.all.as_ref().unwrap();
    assert_eq!((all.patient_id.as_str(), all.plan_id.as_str()), ("Q", "*"));
    let Accepts::Words(words) = &first.accepts else { panic!("{first:?}") };
    let words: Vec<&str> = words.iter().map(|w| w.word.as_str()).collect();
    assert_eq!(words, ["physical", "eqd2", "apart"]);
    assert!(first.suggestions.is_empty() && !first.place.holds_back());
    let decided = questions[1].facts.iter().find(|f| f.what == "Decided already").unwrap();
    assert_eq!(decided.seen, "physical of 1 plan");
}
