"""Facts about every RT object below a folder, as another reader sees them.

One line a fact: file, what, value, separated by tabs; numbers as Python writes them. Computes
nothing but sums: no volumes, no interpolation.
"""

import os
import sys

import numpy as np
import pydicom

STRUCTURES = "1.2.840.10008.5.1.4.1.1.481.3"
DOSE = "1.2.840.10008.5.1.4.1.1.481.2"
PLANS = ("1.2.840.10008.5.1.4.1.1.481.5", "1.2.840.10008.5.1.4.1.1.481.8")


def points(contour):
    """Contour Data as an array; a value of unknown representation is still text."""
    value = contour["ContourData"].value
    if isinstance(value, (bytes, bytearray)):
        value = value.decode("ascii").strip(" \0").split("\\")
    return np.array([float(x) for x in value]).reshape(-1, 3)


def area(p):
    """Half the length of Newell's sum: the shoelace formula on a plane of any orientation."""
    p = p - p[0]
    return 0.5 * float(np.linalg.norm(np.cross(p, np.roll(p, -1, axis=0)).sum(axis=0)))


def structures(data):
    names = {int(r.ROINumber): str(r.get("ROIName", "")) for r in data.StructureSetROISequence}
    for roi in data.ROIContourSequence:
        number = int(roi.ReferencedROINumber)
        contours = [c for c in roi.get("ContourSequence", []) if "ContourData" in c]
        drawn = [points(c) for c in contours]
        closed = [p for c, p in zip(contours, drawn) if c.ContourGeometricType.startswith("CLOSED")]
        yield f"roi {number} name", names.get(number, "")
        yield f"roi {number} contours", len(drawn)
        yield f"roi {number} points", sum(len(p) for p in drawn)
        yield f"roi {number} areas", sum(area(p) for p in closed)


def dose(data):
    stored = data.pixel_array
    stored = stored if stored.ndim == 3 else stored[None]
    scaling = float(data.DoseGridScaling)
    yield "sum", int(stored.sum(dtype=np.uint64)) * scaling
    yield "largest", int(stored.max()) * scaling
    along, down = np.array(data.ImageOrientationPatient, float).reshape(2, 3)
    offsets = np.array(data.get("GridFrameOffsetVector", [0.0]), float)[: len(stored)]
    if offsets[0] != 0.0:
        offsets = offsets - offsets[0]  # z coordinates of the planes (PS3.3 C.8.8.3.2)
    rows, columns = (float(x) for x in data.PixelSpacing)
    first = np.array(data.ImagePositionPatient, float)
    last = (
        first
        + np.cross(along, down) * offsets[-1]
        + down * rows * (stored.shape[1] - 1)
        + along * columns * (stored.shape[2] - 1)
    )
    for name, corner, value in (
        ("first", first, stored[0, 0, 0]),
        ("last", last, stored[-1, -1, -1]),
    ):
        yield name, " ".join(repr(float(x)) for x in [*corner, int(value) * scaling])


def plan(data):
    groups = data.get("FractionGroupSequence", [])
    yield "fractions", sum(int(g.NumberOfFractionsPlanned) for g in groups)
    references = data.get("DoseReferenceSequence", [])
    stated = [r.get("TargetPrescriptionDose") for r in references]
    yield "prescriptions", " ".join(repr(float(x)) for x in stated if x)
    beams = data.get("BeamSequence", data.get("IonBeamSequence", []))
    yield "beams", " ".join(str(int(b.BeamNumber)) for b in beams)
    shares = [b for g in groups for b in g.get("ReferencedBeamSequence", [])]
    yield "metersets", sum(float(b.BeamMeterset) for b in shares if b.get("BeamMeterset"))


def facts(path):
    data = pydicom.dcmread(path, force=True)
    kind = data.get("SOPClassUID")
    if kind == STRUCTURES:
        return list(structures(data))
    if kind == DOSE:
        return list(dose(data))
    if kind in PLANS:
        return list(plan(data))
    return []


def main(folder):
    for root, _, names in sorted(os.walk(folder)):
        for name in sorted(names):
            path = os.path.join(root, name)
            file = os.path.relpath(path, folder).replace(os.sep, "/")
            try:
                found = facts(path)
            except Exception as error:  # a damaged file: say so and go on
                found = [("error", type(error).__name__)]
            for what, value in found:
                print(file, what, value, sep="\t")


if __name__ == "__main__":
    main(sys.argv[1])
