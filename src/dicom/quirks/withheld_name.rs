//! A structure name that names the patient, or a code whose words the standard leaves open.
//!
//! Clause: PS3.15 annex E lists ROI Name (3006,0026) among the attributes that may identify.
//! Files do: people name structures after the patient ("GTV_Miller"), the number or the birth date,
//! and write words of their own into codes such as Plan Intent (300A,000A).
//! We do: replace the whole name or word in everything that is written.
//! Finding: `RoiNameWithheld`, `TextWithheld`.
//! Strict: refuses the structure, whose name nobody can check.

use dicom_core::Tag;
use dicom_dictionary_std::tags;

use crate::attribute::Attributes;
use crate::object::Object;
use tidydose_rt::finding::Code;

/// What stands in the tables instead of such a name.
pub(crate) const WITHHELD: &str = "[withheld]";

/// Other Patient IDs, retired but still found.
const OTHER_PATIENT_IDS: Tag = Tag(0x0010, 0x1000);
/// Shortest part of a person's name that counts.
const SHORTEST_NAME: usize = 3;
/// Shortest Patient ID that is looked for inside a name; shorter ones must be the whole name.
const SHORTEST_ID: usize = 4;

/// Words of anatomy and planning that hold a short surname ("Chi" in "Chiasm") and still name
/// nobody. Lower case.
const WORDS: &[&str] = &[
    "amygdala",
    "anterior",
    "artery",
    "body",
    "brain",
    "brainstem",
    "canal",
    "cerebellum",
    "cerebrum",
    "chiasm",
    "cochlea",
    "cord",
    "cornea",
    "dose",
    "external",
    "eye",
    "facial",
    "frontal",
    "globe",
    "hippocampus",
    "hypothalamus",
    "isocenter",
    "isocentre",
    "isodose",
    "lens",
    "lesion",
    "mask",
    "medulla",
    "mesencephalon",
    "nerve",
    "occipital",
    "optic",
    "optics",
    "orbit",
    "organ",
    "parietal",
    "parotid",
    "patient",
    "pituitary",
    "planning",
    "pons",
    "posterior",
    "reference",
    "retina",
    "ring",
    "scalp",
    "skin",
    "skull",
    "spinal",
    "stem",
    "target",
    "temporal",
    "thalamus",
    "tract",
    "trigeminal",
    "tumor",
    "tumour",
    "ventricle",
    "vessel",
    "volume",
];

/// What must not stand in a structure name.
#[derive(Debug, Default)]
pub(crate) struct Identifiers {
    ids: Vec<String>,
    names: Vec<String>,
    birth_dates: Vec<String>,
}

impl Identifiers {
    /// The identifiers of the object's patient; none when the user chose to keep identifiers.
    pub(crate) fn of(object: &Object<'_>) -> Self {
        if object.identity().is_kept() {
            return Self::default();
        }
        let root = object.root();
        let id = object.patient_id().into_iter();
        let others = root.text(OTHER_PATIENT_IDS).into_iter();
        let name = root.text(tags::PATIENT_NAME).unwrap_or_default();
        Self::new(
            id.chain(others.flat_map(|text| text.split('\\'))),
            name,
            root.text(tags::PATIENT_BIRTH_DATE).unwrap_or_default(),
        )
    }

    /// By the numbers, the name and the birth date of a patient.
    pub(crate) fn new<'a>(
        ids: impl Iterator<Item = &'a str>,
        name: &str,
        birth_date: &str,
    ) -> Self {
        // Family, given and middle name of each representation; prefix and suffix are titles.
        let people = name.split('=').flat_map(|person| person.split('^').take(3));
        let parts =
            people.flat_map(|part| part.split(|c: char| !c.is_alphabetic())).map(str::to_lowercase);
        let digits: String = birth_date.chars().filter(char::is_ascii_digit).collect();
        let birth_dates = match (digits.get(..4), digits.get(4..6), digits.get(6..8)) {
            (Some(y), Some(m), Some(d)) => {
                let short = &y[2..];
                [
                    format!("{y}{m}{d}"),
                    format!("{d}{m}{y}"),
                    format!("{m}{d}{y}"),
                    format!("{d}{m}{short}"),
                    format!("{short}{m}{d}"),
                    format!("{m}{d}{short}"),
                ]
                .to_vec()
            }
            _ => Vec::new(),
        };
        Self {
            ids: ids.map(|id| id.trim().to_lowercase()).filter(|id| !id.is_empty()).collect(),
            names: parts.filter(|part| part.chars().count() >= SHORTEST_NAME).collect(),
            birth_dates,
        }
    }

    /// The words of a code that may be free; one that gives the patient away is replaced and noted.
    pub(crate) fn open_codes(&self, of: &Attributes<'_>, tag: Tag) -> Vec<String> {
        let checked = |word: String| match self.found_in(&word) {
            None => word,
            Some(what) => {
                of.note(Code::TextWithheld, tag, format!("the word holds {what}"));
                WITHHELD.to_owned()
            }
        };
        of.codes(tag).into_iter().map(checked).collect()
    }

    /// The first of [`Identifiers::open_codes`].
    pub(crate) fn open_code(&self, of: &Attributes<'_>, tag: Tag) -> Option<String> {
        self.open_codes(of, tag).into_iter().next()
    }

    /// What the name gives away, in words; nothing when it is harmless.
    pub(crate) fn found_in(&self, name: &str) -> Option<&'static str> {
        let lower = name.to_lowercase();
        let has_id = |id: &String| {
            lower.trim() == id || (id.len() >= SHORTEST_ID && lower.contains(id.as_str()))
        };
        if self.ids.iter().any(has_id) {
            return Some("the patient's number");
        }
        let words = lower.split(|c: char| !c.is_alphabetic());
        let unknown: Vec<_> = words.filter(|word| !WORDS.contains(word)).collect();
        if self.names.iter().any(|part| unknown.iter().any(|word| word.contains(part.as_str()))) {
            return Some("a part of the patient's name");
        }
        let runs = lower.split(|c: char| !(c.is_ascii_digit() || ".-/_ ".contains(c)));
        let digits = runs.map(|run| run.chars().filter(char::is_ascii_digit).collect::<String>());
        let dates: Vec<_> = digits.filter(|run| run.len() >= 6).collect();
        let dated = |date: &String| dates.iter().any(|run| run.contains(date.as_str()));
        self.birth_dates.iter().any(dated).then_some("the patient's birth date")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_numbers_and_birth_dates_are_found() {
        let patient = Identifiers::new(["AB-4711"].into_iter(), "Chi^Margarethe^^Prof", "19520417");
        for (name, what) in [
            ("GTV margarethe", Some("a part of the patient's name")),
            ("PTV_CHI", Some("a part of the patient's name")),
            ("ab-4711 left", Some("the patient's number")),
            ("PTV 17.04.1952", Some("the patient's birth date")),
            ("PTV520417", Some("the patient's birth date")),
            ("Chiasm", None),
            ("Optic Chiasm", None),
            ("Profile", None),
            ("V12Gy 20Gy 1952", None),
        ] {
            assert_eq!(patient.found_in(name), what, "{name}");
        }
    }

    #[test]
    fn a_short_number_must_be_the_whole_name() {
        let patient = Identifiers::new(["1"].into_iter(), "", "");
        assert_eq!(patient.found_in("GTV 1"), None);
        assert_eq!(patient.found_in("1"), Some("the patient's number"));
    }
}
