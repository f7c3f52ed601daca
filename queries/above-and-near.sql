-- question: Of the organs with a value above a limit, how near was the target, and did it lie inside?
-- tables:   limit_checks, relations
-- units:    Gy, cc or %, as in column unit; mm, %
-- caution:  A target that touches the organ explains a dose and does not justify it.
-- set organ: structures = 'Brainstem, OpticChiasm, OpticNrv_L, OpticNrv_R'  standard names of organs
WITH nearest AS (
  SELECT other_structure_id, MIN(value) AS gap_mm
  FROM relations
  WHERE metric = 'Gap[mm]'
  GROUP BY other_structure_id
)
SELECT c.patient_id, c.plan_id, c.structure, c.fractions, c.metric, c.operator, c.limit_value, c.unit,
       c.value, c.margin, c.verdict, c.tier, c.limit_source, c.evidence, n.gap_mm, c.target_inside_percent
FROM limit_checks c
LEFT JOIN nearest n ON c.structure_id = n.other_structure_id
WHERE c.margin < 0 AND c.verdict <> 'not_a_limit' AND c.structure IN ($organ)
ORDER BY c.plan_id, c.structure, c.metric, c.limit_value, c.limit_source
