//! Who sits at the command line.

use std::os::unix::fs::MetadataExt as _;

/// The name of the operating-system user that runs this process, as the journal keeps it.
///
/// Read from the process itself and the table of users: a variable of the environment could say anything.
pub(super) fn operator() -> String {
    let Ok(process) = std::fs::metadata("/proc/self") else {
        return std::env::var("USER").unwrap_or_else(|_| "unknown".into());
    };
    let uid = process.uid();
    let users = std::fs::read_to_string("/etc/passwd").unwrap_or_default();
    name_of(&users, uid).unwrap_or_else(|| format!("uid {uid}"))
}

/// The name of a user in a table of `name:password:uid:…` lines.
fn name_of(users: &str, uid: u32) -> Option<String> {
    users.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)?.parse() == Ok(uid)).then(|| name.to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_user_is_named_by_the_table_of_users() {
        let users = "root:x:0:0:root:/root:/bin/sh\nmira:x:1000:1000::/home/mira:/bin/sh\n";
        assert_eq!(name_of(users, 1000).as_deref(), Some("mira"));
        assert_eq!(name_of(users, 1001), None);
    }
}
