//! Whether the names that a question is given mean anything. A name that exists nowhere is a fault,
//! since no row for it would read as nothing to worry about; a name that is known but not in this
//! study is said beside the answer. Which names there are comes from outside.

use std::collections::{BTreeMap, BTreeSet};

use super::parameter::ParameterKind;
use super::question::{Question, QuestionError};
use tidydose_rt::nearest::nearest;

/// Names of one kind.
#[derive(Debug, Clone)]
pub struct Names {
    /// Those in the study; absent where the study does not say.
    pub here: Option<BTreeSet<String>>,
    /// Those that any study could have, for suggestions; more may be possible.
    pub elsewhere: Vec<String>,
    /// Whether any study could have a name.
    pub is_possible: fn(&str) -> bool,
}

/// The names that may stand in a question.
#[derive(Debug, Clone)]
pub struct Vocabulary {
    /// Structures, as in column `structure`.
    pub structures: Names,
    /// Metrics.
    pub metrics: Names,
}

/// A name that is known but not in the study.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Absent {
    /// In words, with what to do.
    pub sentence: String,
}

/// Looks at every name that the question is given, or has as a default.
///
/// # Errors
/// A name that exists nowhere, with the nearest ones that do.
pub fn check(
    question: &Question,
    values: &BTreeMap<String, String>,
    vocabulary: &Vocabulary,
) -> Result<Vec<Absent>, QuestionError> {
    let mut absent = Vec::new();
    for parameter in &question.parameters {
        use ParameterKind::{Metric, Metrics, Structure, Structures};
        let (names, what) = match parameter.kind {
            Structure | Structures => (&vocabulary.structures, "structure"),
            Metric | Metrics => (&vocabulary.metrics, "metric"),
            _ => continue,
        };
        let typed = parameter.value(values);
        let several = matches!(parameter.kind, Structures | Metrics);
        let list: Vec<&str> =
            if several { typed.split(',').map(str::trim).collect() } else { vec![typed] };
        for name in list {
            match names.place(name) {
                Place::Here => {}
                Place::Elsewhere => absent.push(Absent { sentence: names.gap(what, name) }),
                Place::Nowhere => {
                    let near = nearest(name, names.all());
                    let reason = format!("`{name}` is no {what}; nearest: {near}");
                    return Err(QuestionError::Value { name: parameter.name.clone(), reason });
                }
            }
        }
    }
    Ok(absent)
}

/// Where a name exists.
enum Place {
    Here,
    Elsewhere,
    Nowhere,
}

impl Names {
    fn place(&self, name: &str) -> Place {
        let possible = (self.is_possible)(name) || self.elsewhere.iter().any(|n| n == name);
        match &self.here {
            Some(here) if here.contains(name) => Place::Here,
            None if possible => Place::Here,
            _ if possible => Place::Elsewhere,
            _ => Place::Nowhere,
        }
    }

    fn all(&self) -> impl Iterator<Item = &str> {
        self.here.iter().flatten().chain(&self.elsewhere).map(String::as_str)
    }

    fn gap(&self, what: &str, name: &str) -> String {
        let here = nearest(name, self.here.iter().flatten().map(String::as_str));
        let hint = if what == "metric" {
            format!("`tidydose measure` with --metrics '{name}' adds it")
        } else {
            "names that nobody has decided are in names.csv and in `tidydose ask open-names`"
                .to_owned()
        };
        let here = if here.is_empty() { "none".to_owned() } else { here };
        format!("the study has no {what} {name}; it has {here}; {hint}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn vocabulary() -> Vocabulary {
        let names = |here: &[&str], elsewhere: &[&str], is_possible| Names {
            here: Some(here.iter().map(|n| (*n).to_owned()).collect()),
            elsewhere: elsewhere.iter().map(|n| (*n).to_owned()).collect(),
            is_possible,
        };
        Vocabulary {
            structures: names(&["Brainstem", "tronc"], &["OpticChiasm"], |_| false),
            metrics: names(&["Max[Gy]"], &["D95%[Gy]"], |name| name.ends_with("%[Gy]")),
        }
    }

    fn checked(typed: &[(&str, &str)]) -> Result<Vec<Absent>, QuestionError> {
        let text = "-- set organ: structure = Brainstem  organ\n\
                    -- set metrics: metrics = Max[Gy]  metrics\n\
                    -- set word: text = any  word\nSELECT 1";
        let values = typed.iter().map(|(k, v)| ((*k).to_owned(), (*v).to_owned())).collect();
        check(&Question::parse(text).unwrap(), &values, &vocabulary())
    }

    #[test]
    fn a_name_that_exists_nowhere_is_answered_with_the_nearest() {
        let text = checked(&[("organ", "Brainstm")]).unwrap_err().to_string();
        assert!(
            text.starts_with("parameter organ: `Brainstm` is no structure; nearest: Brainstem")
        );
        let text = checked(&[("metrics", "Max[Gy], D95")]).unwrap_err().to_string();
        assert!(text.contains("`D95` is no metric; nearest: D95%[Gy], "), "{text}");
        assert_eq!(checked(&[("word", "whatever")]), Ok(Vec::new()));
    }

    #[test]
    fn a_known_name_that_is_not_in_the_study_is_said() {
        assert_eq!(checked(&[("organ", "tronc")]), Ok(Vec::new()), "an undecided name is there");
        let absent = checked(&[("organ", "OpticChiasm"), ("metrics", "Max[Gy],D77%[Gy]")]).unwrap();
        assert_eq!(absent.len(), 2);
        assert!(absent[0].sentence.contains("no structure OpticChiasm"), "{absent:?}");
        assert!(absent[1].sentence.contains("--metrics 'D77%[Gy]'"), "{absent:?}");
        let mut silent = vocabulary();
        silent.metrics.here = None;
        let question = Question::parse("-- set m: metric = D77%[Gy]  m\nSELECT 1").unwrap();
        assert_eq!(check(&question, &BTreeMap::new(), &silent), Ok(Vec::new()));
    }
}
