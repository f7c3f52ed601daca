-- question: Where does the dose grid not cover an organ?
-- tables:   structures
-- units:    %
-- caution:  What lies outside the grid has no dose in the file; it is not a dose of 0 Gy.
-- set organ: structure = Brainstem  standard name of the organ
SELECT patient_id, plan_id, name_original, volume_cc, inside_grid_percent
FROM structures
WHERE name_standard = $organ AND (inside_grid_percent < 99.99 OR inside_grid_percent IS NULL)
ORDER BY inside_grid_percent NULLS LAST, plan_id, roi_number
