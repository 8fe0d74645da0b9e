//! A finished drawing.

/// A finished drawing.
pub(crate) struct Drawing {
    pub width: f64,
    pub height: f64,
    /// Units of the drawing in a CSS pixel.
    pub scale: f64,
    /// The elements within the root element.
    pub body: String,
}

/// Attributes that the root element of a drawing carries for all elements in it.
pub(crate) const ROOT: &str = "fill=\"none\" font-family=\"sans-serif\"";
