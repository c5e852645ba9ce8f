from xml.etree import ElementTree

from surfscan.loaders.xml_elements import child, children, local_name

ROOT = ElementTree.fromstring('<a xmlns:n="urn:x"><n:b>1</n:b><c><b>no</b></c><b>2</b></a>')


def test_direct_children_in_any_namespace():
    assert [found.text for found in children(ROOT, "b")] == ["1", "2"]
    assert child(ROOT, "b").text == "1" and child(ROOT, "d") is None
    assert local_name(ROOT[0]) == "b"


def test_comments_are_no_children_of_any_name():
    root = ElementTree.fromstring("<a/>")
    root.append(ElementTree.Comment("b"))
    assert children(root, "b") == []
