-- question: Which structures may be an organ though nobody has decided their names, and what do they get?
-- tables:   structures, metrics
-- units:    cc, of the metric
-- caution:  Cases without a structure of that name only; decide the names in names.csv, then measure again.
-- set organ:  text = Brainstem    standard name of the organ, without side
-- set metric: text = D0.03cc[Gy]  metric in TG-263 syntax
WITH named AS (
  SELECT DISTINCT plan_id AS named_plan
  FROM structures
  WHERE structure = $organ OR structure = $organ || '_L' OR structure = $organ || '_R'
)
SELECT s.patient_id, s.plan_id, s.roi_number, s.name_original, s.may_be, s.volume_cc, m.value, m.low,
       m.high, m.status
FROM structures s
JOIN metrics m ON s.structure_id = m.structure_id
LEFT JOIN named n ON s.plan_id = n.named_plan
WHERE m.metric = $metric AND n.named_plan IS NULL
  AND (s.may_be = 'any' OR INSTR(' ' || s.may_be || ' ', ' ' || $organ || ' ') > 0)
ORDER BY m.value DESC NULLS LAST, s.plan_id, s.roi_number
