-- question: Which brainstems received most, and how sure is the number?
-- tables:   metrics, plans
-- units:    Gy
-- caution:  low and high bound the numerical uncertainty only, nothing of delineation or setup.
-- set organ:  structure = Brainstem    standard name of the organ
-- set metric: metric    = D0.03cc[Gy]  metric in TG-263 syntax
SELECT m.patient_id, m.plan_id, p.technology, p.fractions_planned, m.value, m.low, m.high,
       m.status, m.reason
FROM metrics m
JOIN plans p ON m.plan_id = p.plan_id
WHERE m.structure = $organ AND m.metric = $metric AND p.plan_role <> 'follow_up'
ORDER BY m.value DESC NULLS LAST, m.plan_id
