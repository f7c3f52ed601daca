-- question: Which verdicts would flip within the numerical bounds of the value?
-- tables:   limit_checks, structures
-- units:    Gy, cc or %, as in column unit; mm
-- caution:  Undecided is no pass: the files do not tell on which side of the limit the value lies.
-- set organ: structures = Brainstem  standard names of organs, separated by commas
SELECT c.patient_id, c.plan_id, c.structure, c.fractions, c.metric, c.operator, c.limit_value,
       c.unit, c.value, c.low, c.high, c.margin, c.tier, c.limit_source, c.evidence,
       s.n_planes, s.plane_spacing_mm
FROM limit_checks c
LEFT JOIN structures s ON c.structure_id = s.structure_id
WHERE c.verdict = 'undecided' AND c.structure IN ($organ)
ORDER BY ABS(c.margin), c.plan_id, c.structure, c.metric, c.limit_value, c.limit_source
