//! Words of Lithuanian and Latvian.
//! From memory, not checked by a clinician who speaks it.

use super::{Language, Vocabulary};

/// Lithuanian.
pub(super) const LITHUANIAN: Vocabulary = Vocabulary {
    language: Language::Lithuanian,
    left: "kairė kairys kairysis kairioji kairės kair",
    right: "dešinė dešinys dešinysis dešinioji dešinės deš",
    both: "abi abu",
    left_here: "sin",
    right_here: "",
    without: "",
    lesions: "metastazė navikas židinys",
    cavities: "",
    aids: "",
    sums: "",
    fillers: "",
    in_company: &[("Brainstem", "kamienas")],
    organs: &[
        ("Midbrain", "vidurinės smegenys, vidurinysis smegenys"),
        ("MedullaOblongata", "pailgosios smegenys"),
        ("CorpusCallosum", "didžioji jungtis, didžioji smegenų jungtis"),
        (
            "BrainVentricle",
            "smegenų skilvelis, smegenų skilveliai, šoninis skilvelis, trečiasis skilvelis, \
            ketvirtasis skilvelis",
        ),
        ("Brain", "galvos smegenys, smegenys"),
        ("Brainstem", "smegenų kamienas"),
        ("Cerebellum", "smegenėlės"),
        ("Pituitary", "hipofizė"),
        ("OpticChiasm", "regos nervų kryžmė, chiazma, regos kryžmė"),
        ("Eyes", "akys"),
        ("SpinalCord", "nugaros smegenys"),
        ("External", "kūno kontūras, išorinis kontūras"),
        ("Hippocampus", "hipokampas"),
        ("OpticNrv", "regos nervas, optinis nervas"),
        ("Eye", "akis, akies obuolys"),
        ("Lens", "lęšiukas, lęšis"),
        ("Lenses", "lęšiukai"),
        ("Cochlea", "sraigė, kochlea"),
    ],
};

/// Latvian.
pub(super) const LATVIAN: Vocabulary = Vocabulary {
    language: Language::Latvian,
    left: "kreisā kreisais kreisās",
    right: "labā labais labās",
    both: "abas abi",
    left_here: "kreis sin",
    right_here: "lab",
    without: "bez",
    lesions: "metastāze audzējs perēklis",
    cavities: "",
    aids: "",
    sums: "",
    fillers: "",
    in_company: &[("Brainstem", "stumbrs")],
    organs: &[
        ("Midbrain", "vidussmadzenes"),
        ("MedullaOblongata", "iegarenās smadzenes"),
        ("CorpusCallosum", "corpus callosum, smadzeņu saiklis"),
        (
            "BrainVentricle",
            "smadzeņu vēderiņš, smadzeņu vēderiņi, sānu vēderiņš, trešais vēderiņš, ceturtais \
            vēderiņš",
        ),
        ("Brain", "smadzenes, galvas smadzenes"),
        ("Brainstem", "smadzeņu stumbrs"),
        ("Cerebellum", "smadzenītes"),
        ("Pituitary", "hipofīze"),
        ("OpticChiasm", "redzes nervu krustojums, hiazma, optiskā hiazma"),
        ("Eyes", "acis"),
        ("SpinalCord", "muguras smadzenes"),
        ("External", "ķermeņa kontūra, ārējā kontūra"),
        ("Hippocampus", "hipokamps"),
        ("OpticNrv", "redzes nervs, optiskais nervs"),
        ("Eye", "acs, acs ābols"),
        ("Lens", "lēca, acs lēca"),
        ("Lenses", "lēcas"),
        ("Cochlea", "gliemezis, kohlea"),
    ],
};
