//! Labels as archives write them, with the standard name that is right, or `-` where none may be
//! given, and the role. Written for this test by hand from the rules and synonyms; no label is
//! taken from a patient's file.

use super::{NameBasis, recognise};

/// Label, standard name (or `-`), role.
const LABELS: &[(&str, &str, &str)] = &[
    // Letters of mixed scripts, halves of Japanese letters, parts of Korean syllables.
    ("РТV1", "PTV1", "ptv"),
    ("ΡΤV 1", "PTV1", "ptv"),
    ("ﾚﾝｽﾞ右", "Lens_R", "organ"),
    ("\u{1102}\u{116c}\u{1100}\u{1161}\u{11ab}", "Brainstem", "organ"),
    ("뇌 간", "Brainstem", "organ"),
    ("ΟΦΘΑΛΜΟΣ ΔΕ", "Eye_R", "organ"),
    // Sides that grew on a name, stand twice, or are short beside an international word.
    ("nervootticodx", "OpticNrv_R", "organ"),
    ("optiksinirsag", "OpticNrv_R", "organ"),
    ("n. opticus l. sin.", "OpticNrv_L", "organ"),
    ("Lens_vä", "Lens_L", "organ"),
    ("Lens_hø", "Lens_R", "organ"),
    ("retina sin", "-", "unknown"),
    ("left lens right", "-", "unknown"),
    ("cochleare", "-", "unknown"),
    // Parts of the brain; a ventricle with a side may be one of the heart.
    ("Mid brain", "Midbrain", "organ"),
    ("Medulla obl.", "MedullaOblongata", "organ"),
    ("Balken", "CorpusCallosum", "organ"),
    ("4th ventricle", "BrainVentricle", "organ"),
    ("IV ventricolo", "BrainVentricle", "organ"),
    ("sidoventrikel hö", "BrainVentricle_R", "organ"),
    ("Left ventricle", "-", "unknown"),
    ("Ventricle_L", "-", "unknown"),
    // A place behind a target's letters, and a hyphen that may be a minus.
    ("PTV pień mózgu", "-", "ptv"),
    ("PTV kleine hersenen", "-", "ptv"),
    ("CTV hulrom", "-", "ctv"),
    ("PTV-ствол", "-", "unknown"),
    ("PTV-trunchi", "-", "unknown"),
    // A helper's letter before an organ with a margin; the lower jaw is no earlier one.
    ("zChiasm_PRV2", "OpticChiasm_PRV02", "prv"),
    ("zPTV_PRV", "-", "helper"),
    ("alt çene", "Bone_Mandible", "organ"),
    // Standard names, also with other case and separators.
    ("Brainstem", "Brainstem", "organ"),
    ("BRAINSTEM", "Brainstem", "organ"),
    ("OpticChiasm", "OpticChiasm", "organ"),
    ("Optic_Chiasm", "OpticChiasm", "organ"),
    ("OpticNrv_L", "OpticNrv_L", "organ"),
    ("opticnrv r", "OpticNrv_R", "organ"),
    ("L_Cochlea", "Cochlea_L", "organ"),
    ("Eye_L", "Eye_L", "organ"),
    ("EYE-R", "Eye_R", "organ"),
    ("Lens_R", "Lens_R", "organ"),
    ("Hippocampi", "Hippocampi", "organ"),
    ("CN_VIII_L", "CN_VIII_L", "organ"),
    ("CN_V_R", "CN_V_R", "organ"),
    ("SpinalCord_PRV05", "SpinalCord_PRV05", "prv"),
    ("OpticNrv_PRV03_L", "OpticNrv_PRV03_L", "prv"),
    ("Brain-GTV", "Brain-GTV", "organ"),
    ("Brain-PTV", "Brain-PTV", "organ"),
    ("External", "External", "external"),
    ("Glnd_Lacrimal_L", "Glnd_Lacrimal_L", "organ"),
    ("Cavity_Oral", "Cavity_Oral", "organ"),
    ("Bone_Mandible", "Bone_Mandible", "organ"),
    ("A_Carotid_R", "A_Carotid_R", "organ"),
    ("Orbit_L", "Orbit_L", "organ"),
    ("Bolus", "Bolus", "helper"),
    ("Cerebrum_L", "Cerebrum_L", "organ"),
    ("Brainstem_Core", "Brainstem_Core", "organ"),
    // English.
    ("Brain Stem", "Brainstem", "organ"),
    ("brain stem v2", "Brainstem", "organ"),
    ("Brainstem final", "Brainstem", "organ"),
    ("Chiasm", "OpticChiasm", "organ"),
    ("optic chiasma", "OpticChiasm", "organ"),
    ("Left Eye", "Eye_L", "organ"),
    ("LEYE", "Eye_L", "organ"),
    ("LLens", "Lens_L", "organ"),
    ("Lens Lt", "Lens_L", "organ"),
    ("Rt Optic Nerve", "OpticNrv_R", "organ"),
    ("OpticNerve_L", "OpticNrv_L", "organ"),
    ("opt nrv left", "OpticNrv_L", "organ"),
    ("Optic N R", "OpticNrv_R", "organ"),
    ("OPTIC_TRACT_LT", "OpticTract_L", "organ"),
    ("CochleaR", "Cochlea_R", "organ"),
    ("coch l", "Cochlea_L", "organ"),
    ("Inner ear right", "Ear_Internal_R", "organ"),
    ("both eyes", "Eyes", "organ"),
    ("bilateral hippocampus", "Hippocampi", "organ"),
    ("Hippo_R", "Hippocampus_R", "organ"),
    ("Temp lobe L", "Lobe_Temporal_L", "organ"),
    ("Frontal lobe, right", "Lobe_Frontal_R", "organ"),
    ("Spinal Cord", "SpinalCord", "organ"),
    ("cord", "SpinalCord", "organ"),
    ("Pituitary gland", "Pituitary", "organ"),
    ("whole brain", "Brain", "organ"),
    ("CN 5 L", "CN_V_L", "organ"),
    ("Facial nerve R", "CN_VII_R", "organ"),
    ("Parotid gland lt", "Parotid_L", "organ"),
    ("Oral Cavity", "Cavity_Oral", "organ"),
    ("body outline", "External", "external"),
    ("Hypothalamus", "Hypothalmus", "organ"),
    ("Lacrimal Gland R", "Glnd_Lacrimal_R", "organ"),
    // Misspellings.
    ("Branstem", "Brainstem", "organ"),
    ("brainsetm", "Brainstem", "organ"),
    ("Chaism", "OpticChiasm", "organ"),
    ("hipocampus left", "Hippocampus_L", "organ"),
    ("Optic Nreve L", "OpticNrv_L", "organ"),
    ("coclhea R", "Cochlea_R", "organ"),
    ("Hj?rnstam", "Brainstem", "organ"),
    // German.
    ("Hirnstamm", "Brainstem", "organ"),
    ("Stammhirn", "Brainstem", "organ"),
    ("Sehnerv links", "OpticNrv_L", "organ"),
    ("Sehnerv re", "OpticNrv_R", "organ"),
    ("N. opticus li", "OpticNrv_L", "organ"),
    ("Opticus re.", "OpticNrv_R", "organ"),
    ("Linse re", "Lens_R", "organ"),
    ("Auge li", "Eye_L", "organ"),
    ("Augen", "Eyes", "organ"),
    ("Augen bds", "Eyes", "organ"),
    ("Tränendrüse rechts", "Glnd_Lacrimal_R", "organ"),
    ("Traenendruese li", "Glnd_Lacrimal_L", "organ"),
    ("Rückenmark", "SpinalCord", "organ"),
    ("Myelon", "SpinalCord", "organ"),
    ("Gehirn", "Brain", "organ"),
    ("Kleinhirn", "Cerebellum", "organ"),
    ("Außenkontur", "External", "external"),
    ("Hirn ohne GTV", "Brain-GTV", "organ"),
    ("Hirnstamm Saum 3mm", "Brainstem_PRV03", "prv"),
    ("Temporallappen rechts", "Lobe_Temporal_R", "organ"),
    ("Innenohr li", "Ear_Internal_L", "organ"),
    // French.
    ("Tronc cérébral", "Brainstem", "organ"),
    ("Nerf optique D", "OpticNrv_R", "organ"),
    ("Nerf optique gauche", "OpticNrv_L", "organ"),
    ("nerf_optique_G", "OpticNrv_L", "organ"),
    ("Oeil D", "Eye_R", "organ"),
    ("Œil gauche", "Eye_L", "organ"),
    ("Cristallin G", "Lens_L", "organ"),
    ("Encéphale", "Brain", "organ"),
    ("Cerveau sans GTV", "Brain-GTV", "organ"),
    ("Moelle épinière", "SpinalCord", "organ"),
    ("Hypophyse", "Pituitary", "organ"),
    ("Oreille interne droite", "Ear_Internal_R", "organ"),
    ("Contour externe", "External", "external"),
    ("les yeux", "-", "unknown"),
    // Spanish.
    ("Tronco encefálico", "Brainstem", "organ"),
    ("Nervio óptico izq", "OpticNrv_L", "organ"),
    ("Nervio optico D", "OpticNrv_R", "organ"),
    ("Ojo derecho", "Eye_R", "organ"),
    ("Ojo I", "Eye_L", "organ"),
    ("Quiasma óptico", "OpticChiasm", "organ"),
    ("Oído interno izquierdo", "Ear_Internal_L", "organ"),
    ("Hipófisis", "Pituitary", "organ"),
    // Italian.
    ("Nervo ottico dx", "OpticNrv_R", "organ"),
    ("Nervo ottico sn", "OpticNrv_L", "organ"),
    ("Occhio sx", "Eye_L", "organ"),
    ("Cristallino destro", "Lens_R", "organ"),
    ("Encefalo", "Brain", "organ"),
    ("Midollo spinale", "SpinalCord", "organ"),
    ("Ghiandola lacrimale dx", "Glnd_Lacrimal_R", "organ"),
    ("Ponte", "Pons", "organ"),
    // Dutch.
    ("Hersenstam", "Brainstem", "organ"),
    ("Oogzenuw rechts", "OpticNrv_R", "organ"),
    ("Oog li", "Eye_L", "organ"),
    ("Ruggenmerg", "SpinalCord", "organ"),
    ("Hersenen zonder PTV", "Brain-PTV", "organ"),
    ("Slakkenhuis re", "Cochlea_R", "organ"),
    // Swedish and neighbours.
    ("Hjärnstam", "Brainstem", "organ"),
    ("Synnerv hö", "OpticNrv_R", "organ"),
    ("Synnerv höger", "OpticNrv_R", "organ"),
    ("Öga V", "Eye_L", "organ"),
    ("Öga H", "Eye_R", "organ"),
    ("Hjärna", "Brain", "organ"),
    ("Hjernestamme", "Brainstem", "organ"),
    ("Lillhjärna", "Cerebellum", "organ"),
    ("Ryggmärg", "SpinalCord", "organ"),
    // Portuguese.
    ("Tronco cerebral", "Brainstem", "organ"),
    ("Olho E", "Eye_L", "organ"),
    ("Olho D", "Eye_R", "organ"),
    ("Nervo óptico esquerdo", "OpticNrv_L", "organ"),
    ("Nervo optico dir", "OpticNrv_R", "organ"),
    ("Hipófise", "Pituitary", "organ"),
    // Margins.
    ("Brainstem PRV", "Brainstem_PRV", "prv"),
    ("PRV Brainstem 3mm", "Brainstem_PRV03", "prv"),
    ("Chiasm+2mm", "OpticChiasm_PRV02", "prv"),
    ("prv_optic_nerve_L", "OpticNrv_PRV_L", "prv"),
    ("Cochlea R PRV 0.5cm", "Cochlea_PRV05_R", "prv"),
    ("Cord PRV 2.5mm", "-", "prv"),
    ("Brainstem+3", "-", "prv"),
    // Never resolved: codes and words that mean several things.
    ("BS", "-", "unknown"),
    ("HS", "-", "unknown"),
    ("ON", "-", "unknown"),
    ("ON_L", "-", "unknown"),
    ("NO d", "-", "unknown"),
    ("OC", "-", "unknown"),
    ("SC", "-", "unknown"),
    ("TC", "-", "unknown"),
    ("OD", "-", "unknown"),
    ("PAR L", "-", "unknown"),
    ("Stem", "-", "unknown"),
    ("Tronco", "-", "unknown"),
    ("Bulbus re", "-", "unknown"),
    ("Lente D", "-", "unknown"),
    ("Orbit", "-", "unknown"),
    ("Body", "-", "unknown"),
    ("Skin", "-", "unknown"),
    ("Cerebro", "-", "unknown"),
    ("Medulla", "-", "unknown"),
    ("Meta", "-", "unknown"),
    ("normal brain", "-", "unknown"),
    ("lenses", "Lenses", "organ"),
    ("Linsen", "Lenses", "organ"),
    ("Linser", "Lenses", "organ"),
    ("Lens bilat", "Lenses", "organ"),
    ("lencsék", "Lenses", "organ"),
    ("양측 수정체", "Lenses", "organ"),
    ("Linsen li", "-", "unknown"),
    // Never a side that is not said, or that two languages read differently.
    ("Cochlea", "-", "unknown"),
    ("Eye", "-", "unknown"),
    ("Optic nerve", "-", "unknown"),
    ("cochlear", "-", "unknown"),
    ("RETINAL", "-", "unknown"),
    ("Cochlea D", "-", "unknown"),
    ("Cochlea V", "-", "unknown"),
    ("Coclea sin", "-", "unknown"),
    ("Ojo sin GTV", "-", "helper"),
    ("Lens L R", "-", "unknown"),
    ("Cerebellum L", "-", "unknown"),
    ("Brainstem left", "-", "unknown"),
    // Not in the list, or something else.
    ("Axilla", "-", "unknown"),
    ("Vocal cord", "-", "unknown"),
    ("Vestibular schwannoma", "-", "unknown"),
    ("Structure 7", "-", "unknown"),
    ("", "-", "unknown"),
    ("脳幹", "Brainstem", "organ"),
    ("Cerebellum 1", "-", "unknown"),
    ("Brain1", "-", "unknown"),
    ("Carotis", "-", "unknown"),
    // Aids to planning and markers.
    ("zRing", "-", "helper"),
    ("z_PTVopt", "-", "helper"),
    ("zBrainstem", "-", "helper"),
    ("_Brainstem", "-", "helper"),
    ("x_Chiasm", "-", "helper"),
    ("PTV_opt", "-", "helper"),
    ("PTVring", "-", "helper"),
    ("Shell 5mm", "-", "helper"),
    ("PTV-GTV", "-", "helper"),
    ("Brainstem-PTV", "-", "helper"),
    ("PTV minus Brainstem", "-", "helper"),
    ("PTV-Brainstem", "-", "unknown"),
    ("Brain-GTV1", "-", "helper"),
    ("12Gy", "-", "helper"),
    ("V12Gy", "-", "helper"),
    ("50%", "-", "helper"),
    ("Isodose 12 Gy", "-", "helper"),
    ("ds_1200", "-", "helper"),
    ("Hilfskontur 1", "-", "helper"),
    ("anillo", "-", "helper"),
    ("PTV+3mm", "-", "helper"),
    ("CouchSurface", "-", "helper"),
    ("old brainstem", "Brainstem", "organ"),
    ("PTV old", "-", "helper"),
    ("Isocenter 1", "-", "marker"),
    ("Isozentrum", "-", "marker"),
    ("Ref point", "-", "marker"),
    // Targets.
    ("GTV", "GTV", "gtv"),
    ("GTV1", "GTV1", "gtv"),
    ("gtv 01", "GTV1", "gtv"),
    ("GTV_2", "GTV2", "gtv"),
    ("GTV-3", "GTV3", "gtv"),
    ("1GTV", "GTV1", "gtv"),
    ("GTVp", "GTVp", "gtv"),
    ("PTV12", "PTV12", "ptv"),
    ("PTV1_2400", "PTV1_2400", "ptv"),
    ("PTV 24Gy", "PTV_24Gy", "ptv"),
    ("PTV_High", "PTV_High", "ptv"),
    ("CTVsb", "CTVsb", "ctv"),
    ("ITV 1", "ITV1", "target"),
    ("PTV-03", "-", "ptv"),
    ("PTV 3 re frontal", "-", "ptv"),
    ("GTV II", "-", "gtv"),
    ("GTV_cerebellum", "-", "gtv"),
    ("GTV brainstem left", "-", "gtv"),
    ("PTV_Total", "-", "target_sum"),
    ("PTVs", "-", "target_sum"),
    ("GTV all", "-", "target_sum"),
    ("GTV1+2", "-", "target_sum"),
    ("GTV1+GTV2", "-", "target_sum"),
    ("PTV gesamt", "-", "target_sum"),
    ("Mets", "-", "target_sum"),
    ("PTV+3", "-", "unknown"),
    ("Met 3", "-", "target"),
    ("Metastase 2", "-", "target"),
    ("Lesion frontal L", "-", "target"),
    ("Target 4", "-", "target"),
    ("Zielvolumen", "-", "ptv"),
    ("Resection cavity", "-", "ctv"),
    ("tumour bed", "-", "ctv"),
    ("Resektionshöhle", "-", "ctv"),
];

#[test]
fn labels_get_their_standard_name_and_role() {
    let mut wrong = Vec::new();
    let (mut named, mut due, mut right) = (0, 0, 0);
    for (label, standard, role) in LABELS {
        let found = recognise(label);
        let name = found.standard.as_deref().unwrap_or("-");
        named += usize::from(name != "-");
        due += usize::from(*standard != "-");
        right += usize::from(name != "-" && name == *standard);
        if name != *standard || found.role.word() != *role {
            wrong.push(format!("{label:?}: {name} {} (not {standard} {role})", found.role.word()));
        }
    }
    println!("{} labels, {named} named, {due} due, {right} right", LABELS.len());
    assert!(wrong.is_empty(), "{} of {}:\n{}", wrong.len(), LABELS.len(), wrong.join("\n"));
}

#[test]
fn standard_names_come_back_unchanged() {
    for single in super::catalogue::SINGLE {
        let found = recognise(single);
        assert_eq!(found.standard.as_deref(), Some(*single));
        assert_eq!(found.basis, NameBasis::Exact, "{single}");
    }
    for paired in super::catalogue::PAIRED {
        for side in ["L", "R"] {
            let name = format!("{paired}_{side}");
            let found = recognise(&name);
            assert_eq!(found.standard.as_deref(), Some(name.as_str()));
            assert_eq!(found.basis, NameBasis::Exact, "{name}");
            let reverse = format!("{side}_{paired}");
            assert_eq!(recognise(&reverse).standard.as_deref(), Some(name.as_str()), "{reverse}");
            assert_eq!(recognise(&name.to_uppercase()).standard.as_deref(), Some(name.as_str()));
        }
    }
}

#[test]
fn ambiguous_codes_stay_ambiguous() {
    for code in super::words::AMBIGUOUS.split_ascii_whitespace() {
        for label in [code.to_owned(), code.to_uppercase(), format!("{code}_L")] {
            let found = recognise(&label);
            let orbit = label == "orbit_L";
            assert!(orbit || found.standard.is_none(), "{label}: {found:?}");
        }
    }
}

#[test]
fn every_word_keeps_its_side() {
    let mut wrong = Vec::new();
    for v in super::vocabulary::ALL {
        // A ventricle with a side may be one of the heart.
        let heart = |text: &str| {
            let word = super::organ::plain_words(text).concat();
            super::words::holds(super::organ::OF_HEART, &word)
        };
        // A plural that is the singular of another language is one of a pair beside a side.
        let plural = |root: &str| super::catalogue::UNIONS.iter().any(|(_, union)| *union == root);
        for (root, list) in v.organs.iter().filter(|(root, _)| !plural(root)) {
            let paired = super::catalogue::PAIRED.contains(root);
            let single = super::catalogue::SINGLE.contains(root);
            for text in list.split(", ").filter(|t| !t.is_empty()) {
                let plain = recognise(text).standard;
                if plain.as_deref() != single.then_some(*root) && plain.is_some() {
                    wrong.push(format!("{:?} {text}: {plain:?}", v.language));
                }
                let letter = v.language != super::vocabulary::Language::Latvian;
                let said = [("left", "L"), ("right", "R"), ("L", "L"), ("R", "R")];
                for (side, letter) in said.into_iter().take(if letter { 4 } else { 2 }) {
                    let expected = (paired && !heart(text)).then(|| format!("{root}_{letter}"));
                    for label in [format!("{text} {side}"), format!("{side} {text}")] {
                        let found = recognise(&label).standard;
                        if found != expected {
                            wrong.push(format!("{:?} {label}: {found:?}", v.language));
                        }
                    }
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}:\n{}", wrong.len(), wrong.join("\n"));
}
