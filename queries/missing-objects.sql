-- question: Which cases lack a plan, a dose or a structure set, and what was left out for it?
-- tables:   plans
-- units:    none
-- caution:  A link by frame of reference is a weaker proof than a reference; both are named.
SELECT patient_id, plan_id, technology, dose_link, structure_link, n_doses_seen, measured,
       exclusion_code, exclusion_reason
FROM plans
WHERE plan_role <> 'follow_up'
  AND (dose_link <> 'reference' OR structure_link <> 'reference' OR NOT measured)
ORDER BY measured, exclusion_code NULLS LAST, patient_id, plan_id
