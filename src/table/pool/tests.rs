//! Two studies of the example put together.

use super::*;

#[test]
fn counts_are_added_member_by_member() {
    let mut sum = json!({});
    add_counts(&mut sum, &json!({"cases": 2, "files": {"read": 3, "refused": 0}}));
    add_counts(&mut sum, &json!({"cases": 5, "files": {"read": 1, "refused": 2}}));
    assert_eq!(sum, json!({"cases": 7, "files": {"read": 4, "refused": 2}}));
}

#[test]
fn every_table_but_two_says_its_centre_first() {
    let columns = ChosenColumns::default().by_centre();
    for table in of_study(true) {
        let first = definitions(table, &columns).first().map(|c| c.name.to_string());
        assert_eq!(first.as_deref() == Some(CENTRE), says_centre(table.name), "{}", table.name);
    }
    assert_eq!(of_study(true).count(), of_study(false).count() + 1);
}
