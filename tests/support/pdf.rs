//! A PDF opened again: what a reader, a screen reader and a search would find in it.

use std::path::Path;

use lopdf::{Dictionary, Document, Object};

/// A document opened again.
#[derive(Debug)]
pub struct Pdf {
    document: Document,
}

impl Pdf {
    /// Opens a file.
    #[track_caller]
    pub fn open(path: &Path) -> Self {
        Self { document: Document::load(path).unwrap_or_else(|error| panic!("{}: {error}", path.display())) }
    }

    pub fn pages(&self) -> usize {
        self.document.get_pages().len()
    }

    fn catalogue(&self) -> &Dictionary {
        self.document.catalog().unwrap()
    }

    fn resolved<'a>(&'a self, object: &'a Object) -> &'a Object {
        self.document.dereference(object).unwrap().1
    }

    fn string(object: &Object) -> String {
        lopdf::decode_text_string(object).unwrap()
    }

    /// The title in the document's information.
    pub fn title(&self) -> String {
        let information = self.resolved(self.document.trailer.get(b"Info").unwrap()).as_dict().unwrap();
        Self::string(self.resolved(information.get(b"Title").unwrap()))
    }

    /// The natural language of the document.
    pub fn language(&self) -> String {
        Self::string(self.resolved(self.catalogue().get(b"Lang").unwrap()))
    }

    /// Whether it says that it is tagged and has a tree of its structure.
    pub fn is_tagged(&self) -> bool {
        let catalogue = self.catalogue();
        let marked = catalogue
            .get(b"MarkInfo")
            .ok()
            .and_then(|info| self.resolved(info).as_dict().ok())
            .and_then(|info| info.get(b"Marked").ok())
            .and_then(|marked| marked.as_bool().ok());
        let tree = catalogue.get(b"StructTreeRoot").ok().and_then(|tree| self.resolved(tree).as_dict().ok());
        marked == Some(true) && tree.is_some_and(|tree| tree.has(b"K"))
    }

    /// The metadata, as XMP.
    pub fn metadata(&self) -> String {
        let stream = self.resolved(self.catalogue().get(b"Metadata").unwrap()).as_stream().unwrap();
        let bytes = stream.decompressed_content().unwrap_or_else(|_| stream.content.clone());
        String::from_utf8(bytes).unwrap()
    }

    /// The text of one page, the first is 1, with the spaces and line ends the file has.
    pub fn page(&self, number: usize) -> String {
        self.document.extract_text(&[u32::try_from(number).unwrap()]).unwrap()
    }

    /// The text of all pages with every space taken out, and the marks where a long word may break: where a line breaks
    /// does not matter then.
    pub fn text(&self) -> String {
        let pages: Vec<u32> = self.document.get_pages().keys().copied().collect();
        self.document.extract_text(&pages).unwrap().chars().filter(|c| !c.is_whitespace()).collect()
    }
}
