//! What archives in eight languages call the structures: one row per standard name, one cell per
//! language, words after folding or before (both sides are folded when compared). A row holds
//! only what means this structure and no other; what can mean several is in `words::AMBIGUOUS`.

/// A language, as a bit, so that a word can belong to several.
pub(super) type Languages = u8;

/// English.
pub(super) const EN: Languages = 1;
/// German.
pub(super) const DE: Languages = 2;
/// French.
pub(super) const FR: Languages = 4;
/// Spanish.
pub(super) const ES: Languages = 8;
/// Italian.
pub(super) const IT: Languages = 16;
/// Dutch.
pub(super) const NL: Languages = 32;
/// Swedish, Norwegian, Danish.
pub(super) const SV: Languages = 64;
/// Portuguese.
pub(super) const PT: Languages = 128;

/// Words of one standard name, separated by commas, by language in the order
/// English, German, French, Spanish, Italian, Dutch, Swedish, Portuguese.
pub(super) struct Row(pub(super) &'static str, pub(super) [&'static str; 8]);

/// The order of the cells of a [`Row`].
pub(super) const ORDER: [Languages; 8] = [EN, DE, FR, ES, IT, NL, SV, PT];

/// Brain, eye, ear and nerves.
pub(super) const CRANIAL: &[Row] = &[
    Row(
        "Brain",
        [
            "whole brain, brian",
            "gehirn, hirn",
            "cerveau, encephale",
            "encefalo",
            "encefalo, cervello",
            "hersenen, brein",
            "hjarna, hjarnan, hjerne",
            "encefalo",
        ],
    ),
    Row(
        "Brainstem",
        [
            "brain stem, bstem, brst, brain stm, brianstem",
            "hirnstamm, stammhirn, hirnst",
            "tronc cerebral, tronc cer, tron cerebral",
            "tronco encefalico, tronco enc, tallo cerebral, tronco encefalo",
            "tronco encefalico, tronco enc, tronco encefalo",
            "hersenstam",
            "hjarnstam, hjarnst, hjernestamme",
            "tronco cerebral, tronco encefalico",
        ],
    ),
    Row(
        "Brainstem_Core",
        [
            "brainstem interior, brainstem center, brainstem centre, brainstem core",
            "hirnstamm zentrum",
            "tronc cerebral centre",
            "tronco encefalico centro",
            "tronco encefalico centro",
            "hersenstam centrum",
            "hjarnstam centrum",
            "tronco cerebral centro",
        ],
    ),
    Row(
        "Brainstem_Surf",
        [
            "brainstem surface, brainstem surf",
            "hirnstamm oberflaeche",
            "tronc cerebral surface",
            "tronco encefalico superficie",
            "tronco encefalico superficie",
            "hersenstam oppervlak",
            "hjarnstam yta",
            "tronco cerebral superficie",
        ],
    ),
    Row("Cerebrum", ["cerebrum", "grosshirn", "", "", "", "", "storhjarna", ""]),
    Row(
        "Cerebellum",
        [
            "cerebellum, cbl",
            "kleinhirn, cerebellum",
            "cervelet",
            "cerebelo",
            "cervelletto",
            "kleine hersenen, cerebellum",
            "lillhjarna, cerebellum, lillehjerne",
            "cerebelo",
        ],
    ),
    Row(
        "Hippocampus",
        [
            "hippocampus, hippo, hipocampus",
            "hippocampus, hippokampus",
            "hippocampe",
            "hipocampo",
            "ippocampo",
            "hippocampus",
            "hippocampus, hippokampus",
            "hipocampo",
        ],
    ),
    Row(
        "Hippocampi",
        [
            "hippocampi",
            "hippocampi",
            "hippocampes",
            "hipocampos",
            "ippocampi",
            "hippocampi",
            "hippocampi",
            "hipocampos",
        ],
    ),
    Row(
        "Lobe_Temporal",
        [
            "temporal lobe, temp lobe",
            "temporallappen, schlaefenlappen",
            "lobe temporal",
            "lobulo temporal",
            "lobo temporale",
            "temporaalkwab, slaapkwab",
            "temporallob, tinninglob",
            "lobo temporal",
        ],
    ),
    Row(
        "Lobe_Frontal",
        [
            "frontal lobe",
            "frontallappen, stirnlappen",
            "lobe frontal",
            "lobulo frontal",
            "lobo frontale",
            "frontaalkwab",
            "frontallob",
            "lobo frontal",
        ],
    ),
    Row(
        "Lobe_Parietal",
        [
            "parietal lobe",
            "parietallappen, scheitellappen",
            "lobe parietal",
            "lobulo parietal",
            "lobo parietale",
            "parietaalkwab",
            "parietallob",
            "lobo parietal",
        ],
    ),
    Row(
        "Lobe_Occipital",
        [
            "occipital lobe",
            "okzipitallappen, hinterhauptslappen",
            "lobe occipital",
            "lobulo occipital",
            "lobo occipitale",
            "occipitaalkwab",
            "occipitallob",
            "lobo occipital",
        ],
    ),
    Row(
        "Thalamus",
        [
            "thalamus",
            "thalamus",
            "thalamus",
            "talamo",
            "talamo",
            "thalamus",
            "talamus, thalamus",
            "talamo",
        ],
    ),
    Row(
        "Hypothalmus",
        [
            "hypothalamus, hypothal",
            "hypothalamus",
            "hypothalamus",
            "hipotalamo",
            "ipotalamo",
            "hypothalamus",
            "hypotalamus",
            "hipotalamo",
        ],
    ),
    Row(
        "Pituitary",
        [
            "pituitary, pituitary gland, hypophysis",
            "hypophyse",
            "hypophyse",
            "hipofisis",
            "ipofisi",
            "hypofyse",
            "hypofys, hypofyse",
            "hipofise",
        ],
    ),
    Row(
        "Pons",
        [
            "pons",
            "pons, bruecke",
            "protuberance, pont",
            "protuberancia, puente",
            "ponte",
            "pons",
            "pons, hjarnbrygga",
            "ponte",
        ],
    ),
    Row(
        "OpticChiasm",
        [
            "chiasm, chiasma, chias, optic chiasm, optic chiasma, opt chiasm, opt chiasma",
            "chiasma, chiasma opticum, sehnervenkreuzung",
            "chiasma, chiasma optique",
            "quiasma, quiasma optico",
            "chiasma, chiasma ottico",
            "chiasma, optisch chiasma, chiasma opticum",
            "chiasma, synnervskorsning, chiasma opticum",
            "quiasma, quiasma optico, quiasma otico",
        ],
    ),
    Row(
        "OpticNrv",
        [
            "optic nerve, opt nrv, optic nrv, opt nerve, optic n",
            "sehnerv, n opticus, nervus opticus, opticus",
            "nerf optique, n optique, nerf opt",
            "nervio optico, n optico",
            "nervo ottico, n ottico",
            "oogzenuw, n opticus, nervus opticus, opticus",
            "synnerv, n opticus, nervus opticus, opticus, synsnerve",
            "nervo optico, nervo otico, n optico",
        ],
    ),
    Row(
        "OpticTract",
        [
            "optic tract, opt tract",
            "tractus opticus",
            "bandelette optique, tractus optique",
            "tracto optico, cintilla optica",
            "tratto ottico",
            "tractus opticus",
            "synbana, tractus opticus",
            "trato optico",
        ],
    ),
    Row(
        "Eye",
        [
            "eye, globe, eyeball, eye ball",
            "auge, augapfel, bulbus oculi",
            "oeil, globe oculaire",
            "ojo, globo ocular",
            "occhio, globo oculare, bulbo oculare",
            "oog, oogbol, bulbus oculi",
            "oga, ogonglob, oye",
            "olho, globo ocular",
        ],
    ),
    Row("Eyes", ["eyes, eyeballs", "augen", "yeux", "ojos", "occhi", "ogen", "ogon", "olhos"]),
    Row(
        "Lens",
        [
            "lens, lense, lenz, eye lens",
            "linse, augenlinse",
            "cristallin, lentille",
            "cristalino",
            "cristallino",
            "lens, ooglens",
            "lins, linse",
            "cristalino",
        ],
    ),
    Row(
        "Retina",
        [
            "retina",
            "retina, netzhaut",
            "retine",
            "retina",
            "retina",
            "retina, netvlies",
            "nathinna, retina",
            "retina",
        ],
    ),
    Row(
        "Cornea",
        [
            "cornea",
            "hornhaut, kornea, cornea",
            "cornee",
            "cornea",
            "cornea",
            "hoornvlies, cornea",
            "hornhinna, cornea",
            "cornea",
        ],
    ),
    Row(
        "Glnd_Lacrimal",
        [
            "lacrimal, lacrimal gland, lac gl, lacrimal gl, lacrymal gland, glnd lacrimal",
            "traenendruese",
            "glande lacrymale, gl lacrymale",
            "glandula lagrimal, lagrimal, gl lagrimal",
            "ghiandola lacrimale, gh lacrimale",
            "traanklier",
            "tarkortel",
            "glandula lacrimal, gl lacrimal",
        ],
    ),
    Row(
        "Cochlea",
        [
            "cochlea, coch, chochlea",
            "cochlea, schnecke",
            "cochlee, cochlea",
            "coclea",
            "coclea",
            "cochlea, slakkenhuis",
            "cochlea, snacka",
            "coclea",
        ],
    ),
    Row(
        "Ear_Internal",
        [
            "inner ear, internal ear",
            "innenohr",
            "oreille interne, oreille int",
            "oido interno, oido int",
            "orecchio interno, orecchio int",
            "binnenoor",
            "innerora",
            "ouvido interno, ouvido int",
        ],
    ),
    Row(
        "Ear_Middle",
        [
            "middle ear",
            "mittelohr",
            "oreille moyenne",
            "oido medio",
            "orecchio medio",
            "middenoor",
            "mellanora",
            "ouvido medio",
        ],
    ),
    Row(
        "CN_V",
        [
            "trigeminal, trigeminal nerve, cn 5, cn v",
            "trigeminus, n trigeminus",
            "nerf trijumeau",
            "trigemino, nervio trigemino",
            "trigemino, nervo trigemino",
            "trigeminus",
            "trigeminus",
            "trigemeo, nervo trigemeo",
        ],
    ),
    Row(
        "CN_VII",
        [
            "facial nerve, cn 7",
            "fazialis, facialis, n facialis",
            "nerf facial",
            "nervio facial",
            "nervo facciale",
            "n facialis, facialis",
            "n facialis, facialis",
            "nervo facial",
        ],
    ),
    Row(
        "CN_VIII",
        [
            "vestibulocochlear, vestibulocochlear nerve, acoustic nerve, cn 8",
            "vestibulocochlearis, akustikus",
            "nerf cochleovestibulaire",
            "nervio vestibulococlear",
            "nervo vestibolococleare",
            "vestibulocochlearis",
            "balans horselnerv",
            "nervo vestibulococlear",
        ],
    ),
];

/// Cord, neck, glands, bones and the outline.
pub(super) const OTHER: &[Row] = &[
    Row(
        "SpinalCord",
        [
            "spinal cord, cord, spinal chord",
            "rueckenmark, myelon",
            "moelle, moelle epiniere",
            "medula, medula espinal",
            "midollo, midollo spinale",
            "ruggenmerg, myelum",
            "ryggmarg, ryggmarv",
            "medula, medula espinhal",
        ],
    ),
    Row(
        "SpinalCanal",
        [
            "spinal canal",
            "spinalkanal",
            "canal medullaire, canal rachidien",
            "canal medular",
            "canale spinale, canale midollare",
            "wervelkanaal",
            "spinalkanal",
            "canal medular",
        ],
    ),
    Row(
        "External",
        [
            "outline, patient, patient outline, body outline, body contour, external contour",
            "aussenkontur, koerper, koerperkontur",
            "contour externe, externe",
            "contorno externo, externo",
            "contorno esterno, esterno",
            "lichaam",
            "kropp, ytterkontur",
            "contorno externo, externo",
        ],
    ),
    Row(
        "Skull",
        [
            "cranium",
            "schaedel, kalotte",
            "crane",
            "craneo",
            "cranio, teca",
            "schedel",
            "skalle",
            "cranio",
        ],
    ),
    Row(
        "Parotid",
        [
            "parotid, parotid gland",
            "parotis, ohrspeicheldruese",
            "parotide, glande parotide",
            "parotida",
            "parotide",
            "parotis, oorspeekselklier",
            "parotis, oronspottkortel",
            "parotida",
        ],
    ),
    Row(
        "Parotids",
        ["parotid glands", "", "parotides", "parotidas", "parotidi", "", "", "parotidas"],
    ),
    Row(
        "Bone_Mandible",
        [
            "mandible, mandib",
            "unterkiefer, mandibula",
            "mandibule",
            "mandibula",
            "mandibola",
            "onderkaak, mandibula",
            "underkake, mandibula",
            "mandibula",
        ],
    ),
    Row(
        "Joint_TM",
        ["tmj, tm joint", "kiefergelenk", "atm", "atm", "atm", "kaakgewricht", "kakled", "atm"],
    ),
    Row(
        "A_Carotid",
        [
            "carotid, carotid artery, ica, int carotid, internal carotid",
            "carotis",
            "carotide, carotide interne",
            "carotida, carotida interna",
            "carotide",
            "carotis",
            "karotis",
            "carotida",
        ],
    ),
    Row(
        "Cavity_Oral",
        [
            "oral cavity",
            "mundhoehle",
            "cavite buccale",
            "cavidad oral",
            "cavo orale, cavita orale",
            "mondholte",
            "munhala",
            "cavidade oral",
        ],
    ),
    Row(
        "Larynx",
        [
            "larynx",
            "larynx, kehlkopf",
            "larynx",
            "laringe",
            "laringe",
            "larynx",
            "larynx",
            "laringe",
        ],
    ),
    Row(
        "Esophagus",
        [
            "esophagus, oesophagus",
            "speiseroehre, oesophagus",
            "oesophage",
            "esofago",
            "esofago",
            "slokdarm",
            "matstrupe",
            "esofago",
        ],
    ),
    Row(
        "Scalp",
        [
            "scalp",
            "kopfhaut",
            "cuir chevelu",
            "cuero cabelludo",
            "cuoio capelluto",
            "hoofdhuid",
            "",
            "couro cabeludo",
        ],
    ),
];
