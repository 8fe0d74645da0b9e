//! The elements of a resource of HL7 FHIR R4 (version 4.0.1, hl7.org/fhir/R4) that are read; all others are passed
//! over, whatever they hold.

use std::borrow::Cow;

use serde::Deserialize;

/// A text that stays where it is, if it has no escapes.
#[derive(Clone, Debug, Deserialize)]
#[serde(transparent)]
pub(super) struct Text<'a>(#[serde(borrow)] pub Cow<'a, str>);

impl Text<'_> {
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// The text of an optional element; empty where it is not there.
pub(super) fn text<'t>(text: &'t Option<Text<'_>>) -> &'t str {
    text.as_ref().map_or("", Text::as_str)
}

/// An entry of a bundle.
#[derive(Debug, Deserialize)]
pub(super) struct Entry<'a> {
    #[serde(borrow, rename = "fullUrl")]
    pub full_url: Option<Text<'a>>,
    #[serde(borrow)]
    pub resource: Option<Resource<'a>>,
}

/// An Observation or a Device.
#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Resource<'a> {
    #[serde(borrow)]
    pub resource_type: Option<Text<'a>>,
    #[serde(borrow)]
    pub id: Option<Text<'a>>,
    #[serde(borrow)]
    pub meta: Option<Meta<'a>>,
    #[serde(borrow, default)]
    pub identifier: Vec<Identifier<'a>>,
    #[serde(borrow)]
    pub status: Option<Text<'a>>,
    #[serde(borrow)]
    pub code: Option<Concept<'a>>,
    #[serde(borrow)]
    pub subject: Option<Reference<'a>>,
    #[serde(borrow)]
    pub device: Option<Reference<'a>>,
    #[serde(borrow)]
    pub effective_date_time: Option<Text<'a>>,
    #[serde(borrow)]
    pub effective_instant: Option<Text<'a>>,
    #[serde(borrow)]
    pub effective_period: Option<Period<'a>>,
    #[serde(borrow)]
    pub issued: Option<Text<'a>>,
    #[serde(borrow)]
    pub value_quantity: Option<Quantity<'a>>,
    #[serde(borrow)]
    pub value_sampled_data: Option<SampledData<'a>>,
    #[serde(borrow)]
    pub data_absent_reason: Option<Concept<'a>>,
    #[serde(borrow, default)]
    pub interpretation: Vec<Concept<'a>>,
    #[serde(borrow, default)]
    pub contained: Vec<Contained<'a>>,
    /// Of a Device.
    #[serde(borrow)]
    pub serial_number: Option<Text<'a>>,
}

/// What a resource is, and nothing else of it.
#[derive(Debug, Deserialize)]
pub(super) struct Kind<'a> {
    #[serde(borrow, rename = "resourceType")]
    pub resource_type: Option<Text<'a>>,
}

/// What the resource of an entry is, and nothing else of it.
#[derive(Debug, Deserialize)]
pub(super) struct EntryKind<'a> {
    #[serde(borrow)]
    pub resource: Option<Kind<'a>>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Meta<'a> {
    #[serde(borrow)]
    pub last_updated: Option<Text<'a>>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Identifier<'a> {
    #[serde(borrow)]
    pub system: Option<Text<'a>>,
    #[serde(borrow)]
    pub value: Option<Text<'a>>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Concept<'a> {
    #[serde(borrow, default)]
    pub coding: Vec<Coding<'a>>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Coding<'a> {
    #[serde(borrow)]
    pub system: Option<Text<'a>>,
    #[serde(borrow)]
    pub code: Option<Text<'a>>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Reference<'a> {
    #[serde(borrow)]
    pub reference: Option<Text<'a>>,
    #[serde(borrow)]
    pub identifier: Option<Identifier<'a>>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Period<'a> {
    #[serde(borrow)]
    pub start: Option<Text<'a>>,
}

#[derive(Debug, Deserialize)]
pub(super) struct Quantity<'a> {
    pub value: Option<f64>,
    #[serde(borrow)]
    pub comparator: Option<Text<'a>>,
    #[serde(borrow)]
    pub unit: Option<Text<'a>>,
    #[serde(borrow)]
    pub system: Option<Text<'a>>,
    #[serde(borrow)]
    pub code: Option<Text<'a>>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct SampledData<'a> {
    #[serde(borrow)]
    pub origin: Option<Quantity<'a>>,
    pub period: Option<f64>,
    pub factor: Option<f64>,
    pub lower_limit: Option<f64>,
    pub upper_limit: Option<f64>,
    pub dimensions: Option<f64>,
    #[serde(borrow)]
    pub data: Option<Text<'a>>,
}

#[derive(Debug, Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Contained<'a> {
    #[serde(borrow)]
    pub id: Option<Text<'a>>,
    #[serde(borrow, default)]
    pub identifier: Vec<Identifier<'a>>,
    #[serde(borrow)]
    pub serial_number: Option<Text<'a>>,
}
