//! What somebody may do, so that a page offers nothing that would be refused. The operations decide all the same.

use tubtrail_operations::reach::Operation;
use tubtrail_operations::sessions::Me;

/// Whether one of the operation's roles is theirs at a site.
pub fn may_at(me: &Me, operation: &Operation, site: &str) -> bool {
    let is_there = |at: &Option<String>| at.as_ref().is_none_or(|at| at == site);
    me.roles.iter().any(|role| operation.roles.contains(&role.role) && is_there(&role.site))
}

/// Whether one of the operation's roles is theirs at every site.
pub fn may_everywhere(me: &Me, operation: &Operation) -> bool {
    me.roles.iter().any(|role| operation.roles.contains(&role.role) && role.site.is_none())
}

/// Whether one of the operation's roles is theirs somewhere.
pub fn may_anywhere(me: &Me, operation: &Operation) -> bool {
    me.roles.iter().any(|role| operation.roles.contains(&role.role))
}
