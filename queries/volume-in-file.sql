-- question: Where do the volume in the file and the measured one differ?
-- tables:   structures
-- units:    cc, %
-- caution:  The file's volume follows another convention of slice ends and may be rounded.
-- set percent: number = 5  smallest difference that is listed
SELECT patient_id, plan_id, structure, volume_cc, volume_low_cc, volume_high_cc, volume_in_file_cc,
       100 * (volume_in_file_cc / volume_cc - 1) AS difference_percent
FROM structures
WHERE volume_in_file_cc IS NOT NULL AND volume_cc IS NOT NULL
  AND ABS(volume_in_file_cc / volume_cc - 1) * 100 > $percent
ORDER BY ABS(volume_in_file_cc / volume_cc - 1) DESC, plan_id, roi_number
