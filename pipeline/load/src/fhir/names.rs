//! Who and what references mean: one patient is one wearer, one device is one sensor or meter.

use std::collections::HashMap;

use whereworn_model::settings::Settings;

use super::resource::{Identifier, Reference, Resource, text};

/// References met so far, each with a number, and the devices that resources describe.
#[derive(Default)]
pub(super) struct Names {
    numbers: HashMap<String, u32>,
    references: Vec<String>,
    /// Names of devices by their references.
    devices: HashMap<String, String>,
    /// Another reference to the same resource.
    same: HashMap<String, String>,
    last: [(String, u32); 2],
}

/// The number of no reference.
pub(super) const NOBODY: u32 = u32::MAX;

impl Names {
    /// Notes what a Device is called, and that a bundle's address of a resource is another reference to it.
    pub fn describe(&mut self, resource: &Resource<'_>, full_url: &str) {
        let (kind, id) = (text(&resource.resource_type), text(&resource.id));
        let own = format!("{kind}/{id}");
        let address = short(full_url);
        if kind == "Device"
            && let Some(name) = device_name(text(&resource.serial_number), &resource.identifier)
        {
            for reference in [own.as_str(), address] {
                self.devices.insert(reference.to_owned(), name.to_owned());
            }
        }
        if !id.is_empty() && !address.is_empty() && address != own {
            self.same.insert(address.to_owned(), own);
        }
    }

    /// The number of what a resource refers to; [`NOBODY`] where it refers to nothing.
    pub fn number(&mut self, reference: Option<&Reference<'_>>, resource: &Resource<'_>) -> u32 {
        let Some(reference) = reference else {
            return NOBODY;
        };
        let written = text(&reference.reference);
        if let Some(id) = written.strip_prefix('#') {
            let inner = resource
                .contained
                .iter()
                .find(|inner| text(&inner.id) == id);
            let name =
                inner.and_then(|inner| device_name(text(&inner.serial_number), &inner.identifier));
            return self.intern(name.map_or(written, |name| name), name.is_some());
        }
        match (written, &reference.identifier) {
            ("", Some(identifier)) if !text(&identifier.value).is_empty() => {
                self.intern(text(&identifier.value), true)
            }
            ("", _) => NOBODY,
            (written, _) => self.intern(short(written), false),
        }
    }

    /// A name stands for itself, a reference for what it refers to: they are kept apart by a sign.
    fn intern(&mut self, reference: &str, is_name: bool) -> u32 {
        let recent = self.last.iter().find(|(known, _)| {
            known
                .strip_prefix(sign(is_name))
                .is_some_and(|known| known == reference)
        });
        if let Some((_, number)) = recent {
            return *number;
        }
        let key = format!("{}{reference}", sign(is_name));
        let next = self.references.len() as u32;
        let number = *self.numbers.entry(key.clone()).or_insert(next);
        if number == next {
            self.references.push(key.clone());
        }
        self.last.swap(0, 1);
        let [first, _] = &mut self.last;
        *first = (key, number);
        number
    }

    /// What devices are called, by the numbers of their references.
    pub fn device_names(&self) -> Vec<String> {
        let name = |reference: &String| match reference.split_at(1) {
            ("=", name) => name.to_owned(),
            (_, reference) => {
                let same = self.same.get(reference).map_or(reference, String::as_str);
                let device = self
                    .devices
                    .get(reference)
                    .or_else(|| self.devices.get(same));
                device.cloned().unwrap_or_else(|| same.to_owned())
            }
        };
        self.references.iter().map(name).collect()
    }

    /// What wearers are called, by the numbers of their references.
    pub fn wearer_names(&self, settings: &Settings) -> Vec<String> {
        let given: HashMap<&str, &String> = settings
            .fhir
            .wearers
            .iter()
            .map(|(reference, name)| (short(reference), name))
            .collect();
        let name = |reference: &String| {
            let reference = reference.get(1..).unwrap_or_default();
            let same = self.same.get(reference).map_or(reference, String::as_str);
            let named = given.get(reference).or_else(|| given.get(same));
            named.map_or_else(|| same.to_owned(), |name| (*name).clone())
        };
        self.references.iter().map(name).collect()
    }
}

fn sign(is_name: bool) -> &'static str {
    if is_name { "=" } else { ">" }
}

fn device_name<'a>(serial: &'a str, identifiers: &'a [Identifier<'_>]) -> Option<&'a str> {
    let value = identifiers
        .first()
        .map_or("", |identifier| text(&identifier.value));
    [serial, value].into_iter().find(|name| !name.is_empty())
}

/// A reference without the server and version that it names: `Type/id`; one by `urn:` as it is.
pub(super) fn short(reference: &str) -> &str {
    if reference.starts_with("urn:") {
        return reference;
    }
    let end = reference
        .find("/_history/")
        .or(reference.find('?'))
        .unwrap_or(reference.len());
    let plain = reference
        .get(..end)
        .unwrap_or(reference)
        .trim_end_matches('/');
    let start = plain
        .rmatch_indices('/')
        .nth(1)
        .map_or(0, |(slash, _)| slash + 1);
    plain.get(start..).unwrap_or(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn references_without_their_server() {
        for (reference, plain) in [
            ("Patient/7", "Patient/7"),
            ("https://example.org/fhir/Patient/7", "Patient/7"),
            ("https://example.org/fhir/Patient/7/_history/3", "Patient/7"),
            ("urn:uuid:0c2a/x", "urn:uuid:0c2a/x"),
            ("", ""),
            ("x", "x"),
        ] {
            assert_eq!(short(reference), plain);
        }
    }
}
