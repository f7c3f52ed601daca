//! What each standard name stands for, in words for a page. Sides and plurals follow from their root.

use super::catalogue::{PAIRED, UNIONS};

/// What a name without its side stands for. Written from general anatomy.
const MEANINGS: &[(&str, &str)] = &[
    ("Brain", "the whole brain with its targets"),
    ("Brain-GTV", "the brain without gross tumour volumes"),
    ("Brain-CTV", "the brain without clinical target volumes"),
    ("Brain-PTV", "the brain without planning target volumes"),
    ("Brainstem", "midbrain, pons and medulla oblongata"),
    ("Brainstem_Core", "inner part of the brainstem"),
    ("Brainstem_Surf", "outer shell of the brainstem"),
    ("Cerebrum", "both hemispheres without cerebellum and brainstem; with a side, one of them"),
    ("Cerebellum", "cerebellum"),
    ("Hippocampus", "hippocampus"),
    ("Hypothalmus", "hypothalamus; the spelling is that of the list"),
    ("Pituitary", "pituitary gland"),
    ("Pineal", "pineal gland"),
    ("Pons", "middle part of the brainstem"),
    ("Midbrain", "upper part of the brainstem"),
    ("MedullaOblongata", "lower part of the brainstem"),
    ("CorpusCallosum", "white matter that joins the hemispheres"),
    ("BrainVentricle", "ventricles of the brain, or one of them; with a side, the lateral one"),
    ("Fossa_Posterior", "content of the posterior fossa"),
    ("Skull", "bone of the skull"),
    ("Scalp", "scalp"),
    ("Skin", "skin as a layer; not the outline of the patient, which is External"),
    ("Meninges", "coverings of the brain"),
    ("Hemisphere", "hemisphere of the cerebrum"),
    ("Lobe_Frontal", "frontal lobe"),
    ("Lobe_Occipital", "occipital lobe"),
    ("Lobe_Parietal", "parietal lobe"),
    ("Lobe_Temporal", "temporal lobe"),
    ("Thalamus", "thalamus"),
    ("OpticChiasm", "crossing of the optic nerves"),
    ("OpticNrv", "optic nerve from globe to chiasm"),
    ("OpticTract", "optic tract behind the chiasm"),
    ("Eye", "globe of the eye"),
    ("Lens", "lens of the eye"),
    ("Retina", "retina"),
    ("Cornea", "cornea"),
    ("Orbit", "content of the orbit"),
    ("Glnd_Lacrimal", "lacrimal gland"),
    ("Conjunctiva", "conjunctiva"),
    ("Macula", "macula of the retina"),
    ("Cochlea", "cochlea"),
    ("Ear_Internal", "inner ear"),
    ("Ear_Middle", "middle ear"),
    ("Ear_External", "outer ear"),
    ("CN_III", "oculomotor nerve"),
    ("CN_IV", "trochlear nerve"),
    ("CN_V", "trigeminal nerve"),
    ("CN_VI", "abducens nerve"),
    ("CN_VII", "facial nerve"),
    ("CN_VIII", "vestibulocochlear nerve"),
    ("CN_IX", "glossopharyngeal nerve"),
    ("CN_X", "vagus nerve"),
    ("CN_XI", "accessory nerve"),
    ("CN_XII", "hypoglossal nerve"),
    ("A_Carotid", "carotid artery"),
    ("A_Vertebral", "vertebral artery"),
    ("V_Jugular", "jugular vein"),
    ("BrachialPlex", "brachial plexus"),
    ("SpinalCord", "spinal cord"),
    ("SpinalCord_Cerv", "cervical part of the spinal cord"),
    ("SpinalCanal", "canal of the spine"),
    ("CaudaEquina", "cauda equina"),
    ("Esophagus", "oesophagus"),
    ("Trachea", "trachea"),
    ("Larynx", "larynx"),
    ("Larynx_SG", "part of the larynx above the glottis"),
    ("Glottis", "glottis"),
    ("Pharynx", "pharynx"),
    ("Nasopharynx", "nasal part of the pharynx"),
    ("Oropharynx", "oral part of the pharynx"),
    ("Musc_Constrict_S", "superior constrictor of the pharynx"),
    ("Musc_Constrict_M", "middle constrictor of the pharynx"),
    ("Musc_Constrict_I", "inferior constrictor of the pharynx"),
    ("Cricopharyngeus", "cricopharyngeal muscle"),
    ("Parotid", "parotid gland"),
    ("Glnd_Submand", "submandibular gland"),
    ("Glnd_Subling", "sublingual gland"),
    ("Glnd_Thyroid", "thyroid gland"),
    ("Glnd_Parathyroid", "parathyroid glands"),
    ("Cavity_Oral", "oral cavity"),
    ("Cavity_Nasal", "nasal cavity"),
    ("Lips", "lips"),
    ("Tongue", "tongue"),
    ("Tongue_Base", "base of the tongue"),
    ("Tongue_Oral", "oral part of the tongue"),
    ("Tonsil", "tonsil"),
    ("Palate_Soft", "soft palate"),
    ("Hardpalate", "hard palate"),
    ("BuccalMucosa", "lining of the cheek"),
    ("Nose", "nose"),
    ("Sinus_Ethmoid", "ethmoid sinus"),
    ("Sinus_Frontal", "frontal sinus"),
    ("Sinus_Sphenoid", "sphenoid sinus"),
    ("Sinus_Maxilry", "maxillary sinus"),
    ("Bone_Mandible", "mandible"),
    ("Bone_Sphenoid", "sphenoid bone"),
    ("Bone_Hyoid", "hyoid bone"),
    ("Bone_Temporal", "temporal bone"),
    ("Bone_Mastoid", "mastoid"),
    ("Maxilla", "upper jaw"),
    ("Joint_TM", "temporomandibular joint"),
    ("Musc_Masseter", "masseter muscle"),
    ("Musc_Temporal", "temporal muscle"),
    ("Musc_Sclmast", "sternocleidomastoid muscle"),
    ("Musc_Pterygoid", "pterygoid muscles"),
    ("VB_C1", "first cervical vertebra"),
    ("VB_C2", "second cervical vertebra"),
    ("VB_C3", "third cervical vertebra"),
    ("VB_C4", "fourth cervical vertebra"),
    ("VB_C5", "fifth cervical vertebra"),
    ("VB_C6", "sixth cervical vertebra"),
    ("VB_C7", "seventh cervical vertebra"),
    ("Lung", "lung"),
    ("External", "outline of the patient"),
    ("Bolus", "bolus"),
    ("Artifact", "artefact of an image"),
    ("Dental_Artifact", "artefact of a dental filling"),
];

/// What a name of the catalogue stands for; absent for any other.
#[must_use]
pub fn meaning(name: &str) -> Option<String> {
    let of = |root: &str| MEANINGS.iter().find(|(n, _)| *n == root).map(|(_, words)| *words);
    if let Some((root, _)) = UNIONS.iter().find(|(_, union)| *union == name) {
        return of(root).map(|words| format!("{words}, left and right as one"));
    }
    let side = [("_L", "left"), ("_R", "right")].into_iter().find_map(|(end, side)| {
        let root = name.strip_suffix(end).filter(|root| PAIRED.contains(root))?;
        Some((root, side))
    });
    match side {
        Some((root, side)) => of(root).map(|words| format!("{words}, {side}")),
        None => of(name).map(str::to_owned),
    }
}

#[cfg(test)]
mod tests {
    use super::super::standard::standard_names;
    use super::*;

    #[test]
    fn every_standard_name_has_a_meaning() {
        for (name, _) in standard_names() {
            assert!(meaning(&name).is_some_and(|m| !m.is_empty()), "{name}");
        }
        assert_eq!(meaning("Eye_L").as_deref(), Some("globe of the eye, left"));
        assert_eq!(meaning("Eyes").as_deref(), Some("globe of the eye, left and right as one"));
        assert_eq!(meaning("Brainstm"), None);
        let roots: std::collections::BTreeSet<_> = MEANINGS.iter().map(|(n, _)| n).collect();
        assert_eq!(roots.len(), MEANINGS.len(), "a name twice");
    }
}
