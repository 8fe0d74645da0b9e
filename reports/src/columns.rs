//! What a column holds, by its name.

/// Whether a column of texts holds keys of sites.
pub(crate) fn is_site(name: &str) -> bool {
    name == "site" || name.starts_with("site_") || name.ends_with("_site")
}
