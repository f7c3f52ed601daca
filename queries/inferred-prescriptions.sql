-- question: Which values rest on a prescription that the plan does not state for that target?
-- tables:   structures, metrics
-- units:    Gy; counts
-- caution:  Indices of these targets stand or fall with the basis named here.
SELECT s.patient_id, s.plan_id, s.structure, s.prescription_dose_gy, s.prescription_basis,
       COUNT(*) AS n_values
FROM structures s
JOIN metrics m ON m.structure_id = s.structure_id
WHERE s.prescription_dose_gy IS NOT NULL AND s.prescription_basis <> 'plan_structure'
  AND m.status = 'ok'
  AND m.metric IN ('Coverage', 'Selectivity', 'PaddickConformity', 'PaddickGradient', 'PIV[cc]')
GROUP BY s.patient_id, s.plan_id, s.roi_number, s.structure, s.prescription_dose_gy,
         s.prescription_basis
ORDER BY s.prescription_basis, s.plan_id, s.structure
