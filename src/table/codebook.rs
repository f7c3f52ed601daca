//! `codebook.xml`: what a study asks people for and what it gives for each lesion, as forms of the open
//! standard for data of studies (CDISC ODM 1.3.2; its elements from memory), which systems for
//! electronic case report forms read. Labels, types, units and words are those of the dictionary. The
//! form of outcomes, exported as CSV, is the sheet that relations read.

use std::collections::BTreeSet;
use std::path::Path;

use tidydose_analyse::NUMBERS;
use xmlwriter::{Options, XmlWriter};

use super::all_tables::table;
use super::analysis::ChosenColumns;
use super::column::{Definition, Kind};
use super::column_words;
use super::dictionary::definitions;
use super::run::CAUTION;
use super::user::outcomes::{BASES, VITAL};
use super::write_file::{WriteError, replace_file};

/// Name of the file in a study folder.
pub const FILE: &str = "codebook.xml";

/// The standard asks for a moment; files of a study tell none, so that equal studies have equal bytes.
const NO_MOMENT: &str = "2000-01-01T00:00:00Z";

/// A text that people type is no longer than this.
const TEXT_LENGTH: &str = "200";
/// Digits of a number, and those behind the point.
const NUMBER_LENGTH: [&str; 2] = ["16", "6"];

/// One field of a form.
struct Field {
    name: String,
    kind: Kind,
    label: String,
    meaning: String,
    unit: String,
    /// Words that it may hold, with what they mean.
    words: Vec<Word>,
    /// The least that it may be.
    least: Option<i64>,
    most: Option<i64>,
    required: bool,
}

struct Word {
    word: String,
    meaning: String,
}

/// A form: one table or sheet.
struct Form {
    name: &'static str,
    title: &'static str,
    fields: Vec<Field>,
}

impl Field {
    fn asked(name: &str, kind: Kind, label: &str) -> Self {
        Self {
            name: name.to_owned(),
            kind,
            label: label.to_owned(),
            meaning: label.to_owned(),
            unit: String::new(),
            words: Vec::new(),
            least: None,
            most: None,
            required: false,
        }
    }

    fn day(name: &str, label: &str) -> Self {
        Self { unit: "d".to_owned(), ..Self::asked(name, Kind::Integer, label) }
    }

    fn of_words(name: &str, label: &str, words: &[(&str, &str)]) -> Self {
        let word = |(word, meaning): &(&str, &str)| Word {
            word: (*word).to_owned(),
            meaning: (*meaning).to_owned(),
        };
        Self { words: words.iter().map(word).collect(), ..Self::asked(name, Kind::Text, label) }
    }

    fn of_table(table: &str, definition: &Definition) -> Self {
        let told = column_words::of(table, &definition.name);
        let meaning = |word: &str| {
            told.iter()
                .find(|w| w.word == word)
                .map_or_else(|| word.replace('_', " "), |w| w.meaning.to_string())
        };
        let word = |word: &&'static str| Word { word: (*word).to_owned(), meaning: meaning(word) };
        Self {
            name: definition.name.to_string(),
            kind: definition.kind,
            label: definition.label().to_owned(),
            meaning: definition.meaning.to_string(),
            unit: definition.unit.to_string(),
            words: definition.allowed.iter().map(word).collect(),
            least: None,
            most: None,
            required: false,
        }
    }

    /// Its type in the words of the standard.
    const fn data_type(&self) -> &'static str {
        match self.kind {
            Kind::Text => "text",
            Kind::Integer => "integer",
            Kind::Real => "float",
            Kind::Boolean => "boolean",
        }
    }
}

/// The columns of the outcome sheet that people fill in; the others are the program's.
fn outcomes() -> Form {
    let required = |field: Field| Field { required: true, ..field };
    Form {
        name: "outcomes",
        title: "one event of a patient, a plan or a lesion; a row with event_type none where nothing \
                happened",
        fields: vec![
            required(Field::asked(
                "patient_id",
                Kind::Text,
                "patient, the pseudonym of table plans",
            )),
            Field::asked(
                "plan_id",
                Kind::Text,
                "plan, as in table plans, where the event belongs to one",
            ),
            Field::asked(
                "lesion_id",
                Kind::Text,
                "lesion, as in table lesions, the label of the clinic or the name of the structure",
            ),
            required(Field::asked(
                "event_type",
                Kind::Text,
                "kind of event, in a word of the study; none, lost and death have their own meaning",
            )),
            Field::day("day_event", "day of the event, counted from the first fraction"),
            Field {
                least: Some(0),
                most: Some(5),
                ..Field::asked("grade", Kind::Integer, "grade of the event")
            },
            Field::asked("grade_scale", Kind::Text, "scale of the grade"),
            Field::of_words("basis", "what the diagnosis rests on", BASES),
            Field::asked("symptomatic", Kind::Boolean, "whether the event gave symptoms"),
            Field::day("day_last_imaging", "day of the last imaging, counted alike"),
            Field::day("day_last_contact", "day of the last contact, counted alike"),
            Field::of_words("vital_status", "whether the patient lives", VITAL),
            Field::asked(
                "source_note_code",
                Kind::Text,
                "where it was read, as a code of the study",
            ),
        ],
    }
}

fn forms(chosen: &ChosenColumns) -> Vec<Form> {
    let mut forms = vec![outcomes()];
    if let Some(table) = table("analysis") {
        let fields = definitions(table, chosen);
        forms.push(Form {
            name: table.name,
            title: table.grain,
            fields: fields.iter().map(|d| Field::of_table(table.name, d)).collect(),
        });
    }
    forms
}

/// Writes the forms.
///
/// # Errors
/// When the file cannot be written.
pub fn write_codebook(chosen: &ChosenColumns, path: &Path) -> Result<(), WriteError> {
    let text = codebook(&forms(chosen));
    replace_file(path, |output| output.write_all(text.as_bytes()))
}

fn codebook(forms: &[Form]) -> String {
    let mut xml = XmlWriter::new(Options::default());
    xml.write_declaration();
    element(
        &mut xml,
        "ODM",
        &[
            ("xmlns", "http://www.cdisc.org/ns/odm/v1.3"),
            ("ODMVersion", "1.3.2"),
            ("FileType", "Snapshot"),
            ("FileOID", "tidydose.codebook"),
            ("CreationDateTime", NO_MOMENT),
            ("Description", CAUTION),
        ],
    );
    element(&mut xml, "Study", &[("OID", "study")]);
    xml.start_element("GlobalVariables");
    for (name, text) in
        [("StudyName", "study"), ("StudyDescription", CAUTION), ("ProtocolName", "study")]
    {
        xml.start_element(name);
        xml.write_text(text);
        xml.end_element();
    }
    xml.end_element();
    units(&mut xml, forms);
    let name = format!("numbers {NUMBERS}");
    element(&mut xml, "MetaDataVersion", &[("OID", "metadata"), ("Name", &name)]);
    structure(&mut xml, forms);
    for form in forms {
        form.fields.iter().for_each(|field| item(&mut xml, form, field));
    }
    for form in forms {
        form.fields.iter().for_each(|field| words(&mut xml, form, field));
    }
    xml.end_document()
}

/// Starts an element with its attributes.
fn element(xml: &mut XmlWriter, name: &str, attributes: &[(&str, &str)]) {
    xml.start_element(name);
    for (name, value) in attributes {
        xml.write_attribute(name, value);
    }
}

/// An element that holds one text in English.
fn translated(xml: &mut XmlWriter, name: &str, text: &str) {
    xml.start_element(name);
    element(xml, "TranslatedText", &[("xml:lang", "en")]);
    xml.write_text(text);
    xml.end_element();
    xml.end_element();
}

fn units(xml: &mut XmlWriter, forms: &[Form]) {
    let fields = forms.iter().flat_map(|form| &form.fields);
    let units: BTreeSet<&str> = fields.map(|f| f.unit.as_str()).filter(|u| !u.is_empty()).collect();
    xml.start_element("BasicDefinitions");
    for unit in units {
        let oid = format!("unit.{unit}");
        element(xml, "MeasurementUnit", &[("OID", &oid), ("Name", unit)]);
        translated(xml, "Symbol", unit);
        xml.end_element();
    }
    xml.end_element();
}

/// Which form holds which fields.
fn structure(xml: &mut XmlWriter, forms: &[Form]) {
    let reference =
        |xml: &mut XmlWriter, name: &str, attribute: &str, oid: &str, mandatory: bool| {
            let mandatory = if mandatory { "Yes" } else { "No" };
            element(xml, name, &[(attribute, oid), ("Mandatory", mandatory)]);
            xml.end_element();
        };
    let oid = |kind: &str, form: &Form| format!("{kind}.{}", form.name);
    xml.start_element("Protocol");
    for form in forms {
        reference(xml, "StudyEventRef", "StudyEventOID", &oid("event", form), false);
    }
    xml.end_element();
    for form in forms {
        let own = oid("event", form);
        let attributes =
            [("OID", own.as_str()), ("Name", form.name), ("Repeating", "Yes"), ("Type", "Common")];
        element(xml, "StudyEventDef", &attributes);
        reference(xml, "FormRef", "FormOID", &oid("form", form), false);
        xml.end_element();
    }
    for form in forms {
        let own = oid("form", form);
        element(xml, "FormDef", &[("OID", &own), ("Name", form.name), ("Repeating", "Yes")]);
        translated(xml, "Description", form.title);
        reference(xml, "ItemGroupRef", "ItemGroupOID", &oid("group", form), true);
        xml.end_element();
    }
    for form in forms {
        let own = oid("group", form);
        element(xml, "ItemGroupDef", &[("OID", &own), ("Name", form.name), ("Repeating", "No")]);
        for field in &form.fields {
            let oid = format!("item.{}.{}", form.name, field.name);
            reference(xml, "ItemRef", "ItemOID", &oid, field.required);
        }
        xml.end_element();
    }
}

fn item(xml: &mut XmlWriter, form: &Form, field: &Field) {
    let oid = format!("item.{}.{}", form.name, field.name);
    let attributes =
        [("OID", oid.as_str()), ("Name", &field.name), ("DataType", field.data_type())];
    element(xml, "ItemDef", &attributes);
    match field.kind {
        Kind::Text => xml.write_attribute("Length", TEXT_LENGTH),
        Kind::Integer => xml.write_attribute("Length", NUMBER_LENGTH[0]),
        Kind::Real => {
            xml.write_attribute("Length", NUMBER_LENGTH[0]);
            xml.write_attribute("SignificantDigits", NUMBER_LENGTH[1]);
        }
        Kind::Boolean => {}
    }
    translated(xml, "Description", &field.meaning);
    translated(xml, "Question", &field.label);
    if !field.unit.is_empty() {
        let unit = format!("unit.{}", field.unit);
        element(xml, "MeasurementUnitRef", &[("MeasurementUnitOID", &unit)]);
        xml.end_element();
    }
    for (comparator, end) in [("GE", field.least), ("LE", field.most)] {
        if let Some(end) = end {
            element(xml, "RangeCheck", &[("Comparator", comparator), ("SoftHard", "Hard")]);
            xml.start_element("CheckValue");
            xml.write_text(&end.to_string());
            xml.end_element();
            xml.end_element();
        }
    }
    if !field.words.is_empty() {
        let list = format!("words.{}.{}", form.name, field.name);
        element(xml, "CodeListRef", &[("CodeListOID", &list)]);
        xml.end_element();
    }
    xml.end_element();
}

fn words(xml: &mut XmlWriter, form: &Form, field: &Field) {
    if field.words.is_empty() {
        return;
    }
    let oid = format!("words.{}.{}", form.name, field.name);
    element(xml, "CodeList", &[("OID", &oid), ("Name", &field.name), ("DataType", "text")]);
    for word in &field.words {
        element(xml, "CodeListItem", &[("CodedValue", &word.word)]);
        translated(xml, "Decode", &word.meaning);
        xml.end_element();
    }
    xml.end_element();
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::user::outcomes::COLUMNS;
    use roxmltree::{Document, Node};
    use std::collections::BTreeMap;

    fn named<'a, 'd>(document: &'a Document<'d>, name: &'a str) -> Vec<Node<'a, 'd>> {
        document
            .descendants()
            .filter(|n| n.has_tag_name(("http://www.cdisc.org/ns/odm/v1.3", name)))
            .collect()
    }

    /// Every reference leads to one definition, and nothing is defined that nobody refers to.
    #[test]
    fn every_reference_is_defined_once() {
        let text = codebook(&forms(&ChosenColumns::default()));
        let document = Document::parse(&text).unwrap();
        for (kind, reference, attribute) in [
            ("StudyEventDef", "StudyEventRef", "StudyEventOID"),
            ("FormDef", "FormRef", "FormOID"),
            ("ItemGroupDef", "ItemGroupRef", "ItemGroupOID"),
            ("ItemDef", "ItemRef", "ItemOID"),
            ("CodeList", "CodeListRef", "CodeListOID"),
            ("MeasurementUnit", "MeasurementUnitRef", "MeasurementUnitOID"),
        ] {
            let defined: Vec<&str> =
                named(&document, kind).iter().map(|n| n.attribute("OID").unwrap()).collect();
            let once: BTreeSet<&str> = defined.iter().copied().collect();
            let wanted: BTreeSet<&str> = named(&document, reference)
                .iter()
                .map(|n| n.attribute(attribute).unwrap())
                .collect();
            assert_eq!(once.len(), defined.len(), "{kind}");
            assert!(!once.is_empty() && once == wanted, "{kind}: {once:?} {wanted:?}");
        }
    }

    #[test]
    fn the_form_of_outcomes_is_the_sheet_that_relations_read() {
        let made: Vec<String> = outcomes().fields.into_iter().map(|f| f.name).collect();
        // What the program writes into the sheet is no question to anybody.
        let asked = COLUMNS.iter().filter(|c| !["event_unknown", "held_back"].contains(*c));
        assert_eq!(made, asked.map(|c| (*c).to_owned()).collect::<Vec<_>>());
    }

    /// Types, units and words are those of the dictionary.
    #[test]
    fn the_form_of_the_analysis_is_its_table() {
        let text = codebook(&forms(&ChosenColumns::default()));
        let document = Document::parse(&text).unwrap();
        let items: BTreeMap<&str, Node<'_, '_>> = named(&document, "ItemDef")
            .into_iter()
            .filter(|n| n.attribute("OID").unwrap().starts_with("item.analysis."))
            .map(|n| (n.attribute("Name").unwrap(), n))
            .collect();
        let known = definitions(table("analysis").unwrap(), &ChosenColumns::default());
        assert_eq!(items.len(), known.len());
        for definition in &known {
            let item = items[definition.name.as_ref()];
            let has = |name: &str| item.children().any(|c| c.tag_name().name() == name);
            assert_eq!(
                has("MeasurementUnitRef"),
                !definition.unit.is_empty(),
                "{}",
                definition.name
            );
            assert_eq!(has("CodeListRef"), !definition.allowed.is_empty(), "{}", definition.name);
            assert!(item.attribute("DataType").is_some() && has("Question"));
        }
        assert!(text.contains(CAUTION));
    }
}
