//! What figures and printed tables call structures, metrics and columns: words of the clinic with units
//! in brackets, in place of names that a program reads. Nothing is looked up by them.

use tidydose_case::meaning;
use tidydose_rt::finding::Code;

/// Metrics whose names are no words of the clinic.
const METRICS: &[(&str, &str)] = &[
    ("Volume", "volume"),
    ("Mean", "mean dose"),
    ("Max", "maximum dose"),
    ("Min", "minimum dose"),
    ("Coverage", "coverage by the prescription dose"),
    ("PaddickConformity", "Paddick conformity index"),
    ("PaddickGradient", "Paddick gradient index"),
];

/// Columns whose names are none.
const COLUMNS: &[(&str, &str)] = &[
    ("technology", "Technology"),
    ("fractions_planned", "Fractions planned"),
    ("n_targets", "Targets in the plan"),
    ("era", "Years of the plan"),
    ("course", "Course of the patient"),
    ("plan_role", "Part of the plan in the treatment"),
    ("grid_plane_mm", "Dose grid, spacing of planes (mm)"),
    ("side", "Side of the head"),
    ("gtv_volume_cc", "GTV volume (cm³)"),
    ("ptv_volume_cc", "PTV volume (cm³)"),
    ("volume_cc", "Target volume (cm³)"),
];

/// Units at the end of a column.
const UNITS: &[(&str, &str)] = &[
    ("_cc", "cm³"),
    ("_gy", "Gy"),
    ("_mm", "mm"),
    ("_percent", "%"),
    ("_days", "days"),
    ("_months", "months"),
    ("_years", "years"),
];

/// Short forms that are written in capitals.
const CAPITALS: &[&str] = &[
    "gtv", "ctv", "ptv", "bed10", "bed2", "eqd2", "kps", "ecog", "who", "gpa", "ds", "srs", "wbrt",
    "mri", "ct", "pet",
];

/// Years of a band of table plans.
const ERA_YEARS: i64 = 5;

/// A count with its noun; the plural has an `s`.
#[must_use]
pub fn counted(n: usize, noun: &str) -> String {
    format!("{n} {noun}{}", if n == 1 { "" } else { "s" })
}

/// A unit as it is printed; empty for a ratio.
#[must_use]
pub fn unit(symbol: &str) -> &str {
    match symbol {
        "cc" => "cm³",
        "1" => "",
        other => other,
    }
}

/// Words with a unit in brackets, where there is one.
fn with_unit(words: &str, symbol: &str) -> String {
    match unit(symbol) {
        "" => words.to_owned(),
        unit => format!("{words} ({unit})"),
    }
}

/// The first letter as a capital.
#[must_use]
pub fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A metric with its unit: `V12Gy[cc]` is `V12Gy (cm³)`.
#[must_use]
pub fn metric(name: &str) -> String {
    let (base, symbol) = match name.strip_suffix(']').and_then(|n| n.rsplit_once('[')) {
        Some((base, symbol)) => (base, symbol),
        None => (name, ""),
    };
    let known = METRICS.iter().find(|(n, _)| *n == base).map(|(_, words)| (*words).to_owned());
    with_unit(&known.unwrap_or_else(|| spaced(base)), symbol)
}

/// A structure in small letters: `Cochlea_L` is `left cochlea`. Names that are not of the standard stay.
#[must_use]
pub fn structure(name: &str) -> String {
    if let Some((whole, less)) = name.split_once('-').filter(|(w, _)| meaning(w).is_some()) {
        return format!("{} without {less}", structure(whole));
    }
    if meaning(name).is_none() {
        return name.to_owned();
    }
    let side = [("_L", "left "), ("_R", "right ")];
    let side = side.into_iter().find_map(|(end, side)| Some((name.strip_suffix(end)?, side)));
    let (root, side) = side.unwrap_or((name, ""));
    let words = match root {
        "OpticNrv" => "optic nerve".to_owned(),
        // Names with a dash below are short forms; what they mean is short.
        root if root.contains('_') => meaning(root).unwrap_or_else(|| root.to_owned()),
        root => spaced(root).to_lowercase(),
    };
    format!("{side}{words}")
}

/// Whether a name is one of the standard, or a region of such that the program makes, so that nobody's own
/// words are in it.
#[must_use]
pub fn is_standard_structure(name: &str) -> bool {
    const LESS: [&str; 3] = ["targets", "GTV", "PTV"];
    let region =
        name.split_once('-').is_some_and(|(w, less)| meaning(w).is_some() && LESS.contains(&less));
    name == "all tissue" || meaning(name).is_some() || region
}

/// Structure and metric as an axis or a row says them.
#[must_use]
pub fn quantity(of: &str, metric_name: &str) -> String {
    capital(&format!("{} {}", structure(of), metric(metric_name)))
}

/// A column of a table or of the department's sheet.
#[must_use]
pub fn column(name: &str) -> String {
    if let Some((_, words)) = COLUMNS.iter().find(|(n, _)| *n == name) {
        return (*words).to_owned();
    }
    let found = UNITS.iter().find_map(|(end, unit)| Some((name.strip_suffix(end)?, *unit)));
    let (stem, symbol) = found.unwrap_or((name, ""));
    let word = |w: &str| {
        if CAPITALS.contains(&w) { w.to_uppercase() } else { w.to_owned() }
    };
    let words: Vec<String> = stem.split('_').filter(|w| !w.is_empty()).map(word).collect();
    with_unit(&capital(&words.join(" ")), symbol)
}

/// A predictor as somebody asked for it: a metric of a structure, a column, or a level of one.
#[must_use]
pub fn predictor(name: &str) -> String {
    if let Some(of) = name.strip_prefix("log2 ") {
        return format!("{}, doubled", predictor(of));
    }
    if let Some((of, metric_name)) = name.split_once(':') {
        return quantity(of, metric_name);
    }
    match name.split_once('=') {
        Some((of, value)) => format!("{} is {}", column(of), level(of, value)),
        None if name.ends_with(']') => quantity("lesion", name),
        None => column(name),
    }
}

/// A value of a column of categories.
#[must_use]
pub fn level(of: &str, value: &str) -> String {
    match (of, value.parse::<i64>()) {
        ("era", Ok(first)) => format!("{first} to {}", first + ERA_YEARS - 1),
        _ => value.replace('_', " "),
    }
}

/// Why something was left out: the words of a finding for its code, else the word itself.
#[must_use]
pub fn reason(code: &str) -> String {
    match Code::from_id(code) {
        Some(found) => found.definition().meaning.to_owned(),
        None => code.replace('_', " "),
    }
}

/// Words of a name whose words begin with capitals; short pieces and units stay together.
fn spaced(name: &str) -> String {
    let letters: Vec<char> = name.chars().collect();
    let mut words: Vec<String> = vec![String::new()];
    for (place, letter) in letters.iter().enumerate() {
        let before = place.checked_sub(1).and_then(|p| letters.get(p));
        let starts = letter.is_uppercase() && before.is_some_and(|b| b.is_lowercase());
        // `gEUD` and the like are one word.
        if starts && place > 2 {
            words.push(String::new());
        }
        if let Some(word) = words.last_mut() {
            word.push(*letter);
        }
    }
    let small = |(rank, word): (usize, &String)| {
        let capitals = word.chars().filter(|c| c.is_uppercase()).count();
        if rank > 0 && capitals == 1 { word.to_lowercase() } else { word.clone() }
    };
    words.iter().enumerate().map(small).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metrics_and_structures_are_said_as_in_the_clinic() {
        for (of, name, words) in [
            ("Brain", "V12Gy[cc]", "Brain V12Gy (cm³)"),
            ("Cochlea_L", "Mean[Gy]", "Left cochlea mean dose (Gy)"),
            ("OpticNrv_R", "D0.03cc[Gy]", "Right optic nerve D0.03cc (Gy)"),
            ("OpticChiasm", "Max[Gy]", "Optic chiasm maximum dose (Gy)"),
            ("Brain-targets", "V12Gy[cc]", "Brain without targets V12Gy (cm³)"),
            ("all tissue", "V12Gy[cc]", "All tissue V12Gy (cm³)"),
            ("lesion", "PaddickConformity", "Lesion Paddick conformity index"),
            ("CN_VIII_L", "Mean[Gy]", "Left vestibulocochlear nerve mean dose (Gy)"),
            ("tuning 2", "gEUD8[Gy]", "Tuning 2 gEUD8 (Gy)"),
            ("lesion", "V12GyNearest[cc]", "Lesion V12Gy nearest (cm³)"),
        ] {
            assert_eq!(quantity(of, name), words);
        }
    }

    #[test]
    fn predictors_are_said_as_in_the_clinic() {
        for (name, words) in [
            ("Brain:V12Gy[cc]", "Brain V12Gy (cm³)"),
            ("log2 gtv_volume_cc", "GTV volume (cm³), doubled"),
            ("V12Gy[cc]", "Lesion V12Gy (cm³)"),
            ("histology=small_cell", "Histology is small cell"),
            ("age", "Age"),
        ] {
            assert_eq!(predictor(name), words);
        }
    }

    #[test]
    fn words_of_people_are_no_standard() {
        for name in ["Brain", "Brain-targets", "all tissue", "Lens_L"] {
            assert!(is_standard_structure(name), "{name}");
        }
        for name in ["Met Smith", "Brain-Smith", "tuning 2", ""] {
            assert!(!is_standard_structure(name), "{name}");
        }
    }

    #[test]
    fn columns_have_units_and_no_dashes() {
        for (name, words) in [
            ("gtv_volume_cc", "GTV volume (cm³)"),
            ("prescription_dose_gy", "Prescription dose (Gy)"),
            ("prescription_isodose_percent", "Prescription isodose (%)"),
            ("age", "Age"),
            ("kps", "KPS"),
            ("prior_wbrt", "Prior WBRT"),
        ] {
            assert_eq!(column(name), words);
        }
        assert_eq!(level("era", "2010"), "2010 to 2014");
        assert_eq!(level("technology", "cobalt_unit"), "cobalt unit");
        assert_eq!(reason("link-frame-mismatch"), Code::LinkFrameMismatch.definition().meaning);
        assert_eq!(reason("not_treated"), "not treated");
    }
}
