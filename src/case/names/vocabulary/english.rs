//! Words of English.
//! From memory, not checked by a clinician who speaks it.

use super::{Language, Vocabulary};

/// English.
pub(super) const ENGLISH: Vocabulary = Vocabulary {
    language: Language::English,
    left: "left",
    right: "right",
    both: "both",
    left_here: "sin",
    right_here: "",
    without: "except exclude excluding excluded less",
    lesions: "nodule",
    cavities: "",
    aids: "",
    sums: "",
    fillers: "",
    in_company: &[],
    organs: &[
        ("Midbrain", "mid brain, midbrain, mesencephalon"),
        ("MedullaOblongata", "medulla oblongata, myelencephalon, bulbus medullae"),
        ("CorpusCallosum", "corpus callosum, corpus calosum, callosum"),
        (
            "BrainVentricle",
            "ventricle, ventricles, lateral ventricle, lateral ventricles, lat vent, third \
            ventricle, fourth ventricle, 3rd ventricle, 4th ventricle, cerebral ventricle, \
            cerebral ventricles, brain ventricle, brain ventricles, ventricular system",
        ),
        ("Brain", "whole brain, brian, brain, entire brain, full brain, encephalon"),
        (
            "Brainstem",
            "brain stem, bstem, brst, brain stm, brianstem, brnstm, brain stam, bstm, \
            brainstemm",
        ),
        (
            "Brainstem_Core",
            "brainstem interior, brainstem center, brainstem centre, brainstem core",
        ),
        ("Brainstem_Surf", "brainstem surface, brainstem surf"),
        ("Cerebrum", "cerebrum, both hemispheres"),
        ("Cerebellum", "cerebellum, cbl, cerebel, cerebellar hemispheres"),
        ("Hippocampi", "hippocampi, hippocampuses, both hippocampi"),
        ("Hypothalmus", "hypothalamus, hypothal, hypothalmus, hypothalam"),
        (
            "Pituitary",
            "pituitary, pituitary gland, hypophysis, pit gland, pituit, pituitary body, \
            hypophysis cerebri",
        ),
        ("Pineal", "pineal gland, pineal body"),
        ("Pons", "pons"),
        ("Fossa_Posterior", "posterior fossa"),
        ("Skull", "cranium, skull, skull bone, calvarium, cranial bone, bone skull, calvaria"),
        ("Scalp", "scalp"),
        (
            "OpticChiasm",
            "chiasm, chiasma, chias, optic chiasm, optic chiasma, opt chiasm, opt \
            chiasma, chiasma opt, ochiasm, chsm, optic chias, chiasm optic",
        ),
        ("Eyes", "eyes, eyeballs, globes, eye globes"),
        ("SpinalCord", "spinal cord, cord, spinal chord, spine cord, sp cord, s cord, myelon"),
        ("SpinalCord_Cerv", "cord cervical, cervical cord, cervical spinal cord"),
        ("SpinalCanal", "spinal canal, vertebral canal"),
        ("Esophagus", "esophagus, oesophagus, gullet"),
        ("Larynx", "larynx"),
        ("Nasopharynx", "nasopharynx"),
        ("Parotids", "parotid glands"),
        ("Glnd_Thyroid", "thyroid, thyroid gland"),
        ("Cavity_Oral", "oral cavity, mouth"),
        ("Cavity_Nasal", "nasal cavity"),
        ("Tongue", "tongue"),
        ("Tongue_Base", "base tongue, tongue base"),
        ("Sinus_Ethmoid", "ethmoid sinus"),
        ("Sinus_Frontal", "frontal sinus"),
        ("Sinus_Sphenoid", "sphenoid sinus"),
        ("Bone_Mandible", "mandible, mandib, lower jaw, mandibula"),
        ("Maxilla", "upper jaw"),
        (
            "External",
            "outline, patient, patient outline, body outline, body contour, external \
            contour, external, ext contour, body external, patient contour, patient \
            body, external body, outer contour, body surface",
        ),
        ("Hemisphere", "cerebral hemisphere, brain hemisphere"),
        ("Lobe_Frontal", "frontal lobe, front lobe"),
        ("Lobe_Occipital", "occipital lobe, occ lobe, occip lobe"),
        ("Lobe_Parietal", "parietal lobe, pariet lobe"),
        ("Lobe_Temporal", "temporal lobe, temp lobe, lobe temp"),
        ("Hippocampus", "hippocampus, hippo, hipocampus, hippoc, hipp, hippocampal formation"),
        ("Thalamus", "thalamus, thal"),
        (
            "OpticNrv",
            "optic nerve, opt nrv, optic nrv, opt nerve, optic n, opnerve, o nerve, \
            optn, cn ii, cn 2, second cranial nerve",
        ),
        ("OpticTract", "optic tract, opt tract"),
        ("Eye", "eye, globe, eyeball, eyebulb, eyeglobe, ocular globe"),
        ("Lens", "lens, lense, lenz, eye lens, crystalline lens"),
        ("Lenses", "lenses, eye lenses, crystalline lenses"),
        ("Retina", "retina"),
        ("Cornea", "cornea"),
        ("Orbit", "orbital cavity"),
        (
            "Glnd_Lacrimal",
            "lacrimal, lacrimal gland, lac gl, lacrimal gl, lacrymal gland, glnd \
            lacrimal, lacrimal glnd, lacr gland, lac gland, lachrymal gland, tear \
            gland, lacrim gland, lacrimal g",
        ),
        ("Cochlea", "cochlea, coch, chochlea, cochl"),
        ("Ear_Internal", "inner ear, internal ear, int ear, labyrinth, ear inner, ear internal"),
        ("Ear_Middle", "middle ear, mid ear, ear middle, tympanic cavity"),
        ("Ear_External", "outer ear, external ear, pinna, auricle"),
        ("CN_III", "oculomotor nerve, oculomotor, third nerve, cn 3, cn iii"),
        ("CN_IV", "trochlear nerve, fourth nerve, cn 4, cn iv"),
        (
            "CN_V",
            "trigeminal, trigeminal nerve, cn 5, cn v, trigeminal n, fifth nerve, \
            trigeminal nv, trigem nerve, trigem",
        ),
        ("CN_VI", "abducens nerve, abducens, sixth nerve, cn 6, cn vi"),
        ("CN_VII", "facial nerve, cn 7, facial n, seventh nerve, facial nv"),
        (
            "CN_VIII",
            "vestibulocochlear, vestibulocochlear nerve, acoustic nerve, cn 8, \
            vestibulocochlear n, eighth nerve, acoustic n, auditory nerve, cochlear \
            nerve complex",
        ),
        ("CN_IX", "glossopharyngeal nerve, cn 9, cn ix"),
        ("CN_X", "vagus nerve, cn 10, cn x"),
        ("CN_XI", "accessory nerve, cn 11, cn xi"),
        ("CN_XII", "hypoglossal nerve, cn 12, cn xii"),
        (
            "A_Carotid",
            "carotid, carotid artery, ica, int carotid, internal carotid, internal \
            carotid artery, carotid a, a carotid, carotis interna, a carotis interna",
        ),
        ("A_Vertebral", "vertebral artery"),
        ("V_Jugular", "jugular vein"),
        ("BrachialPlex", "brachial plexus"),
        ("Parotid", "parotid, parotid gland, parotid gl, parotid glnd, parot, glnd parotid"),
        ("Glnd_Submand", "submandibular gland, submandibular, submand gland, smg, submandib gland"),
        ("Glnd_Subling", "sublingual gland"),
        ("Sinus_Maxilry", "maxillary sinus"),
        ("Bone_Temporal", "temporal bone"),
        ("Bone_Mastoid", "mastoid"),
        ("Joint_TM", "tmj, tm joint, temporomandibular joint, tm jt"),
        ("Musc_Masseter", "masseter, masseter muscle"),
        ("Lung", "lung"),
    ],
};
