"""The payload definition of Sparkplug B, transcribed from the standard apart from the program, for decoding in tests.

Source: Eclipse Sparkplug Specification 3.0.0, 6.4.1, Google Protocol Buffer Schema. Field numbers, names and types of
Payload, Metric, MetaData, PropertySet, PropertyValue; DataSet, Template and extensions, which no cart sends, are left
out, so that anything sent in their place is an unknown field and a test sees it.
"""

from __future__ import annotations

from google.protobuf import json_format, text_format
from google.protobuf.descriptor_pb2 import FileDescriptorProto
from google.protobuf.descriptor_pool import DescriptorPool
from google.protobuf.message_factory import GetMessageClass
from google.protobuf.unknown_fields import UnknownFieldSet


def _field(name: str, number: int, kind: str, label: str = "OPTIONAL", one: bool = False) -> str:
    typed = f"type: TYPE_{kind.upper()}" if kind.islower() else f'type: TYPE_MESSAGE type_name: ".reference.{kind}"'
    chosen = "oneof_index: 0" if one else ""
    return f'field {{ name: "{name}" number: {number} label: LABEL_{label} {typed} {chosen} }}'


def _message(name: str, *fields: str, one_of: str = "") -> str:
    one = f'oneof_decl {{ name: "{one_of}" }}' if one_of else ""
    return f'message_type {{ name: "{name}" {one} {" ".join(fields)} }}'


_FILE = " ".join(
    [
        'name: "reference.proto" package: "reference" syntax: "proto2"',
        _message(
            "Payload",
            _field("timestamp", 1, "uint64"),
            _field("metrics", 2, "Metric", "REPEATED"),
            _field("seq", 3, "uint64"),
            _field("uuid", 4, "string"),
            _field("body", 5, "bytes"),
        ),
        _message(
            "Metric",
            _field("name", 1, "string"),
            _field("alias", 2, "uint64"),
            _field("timestamp", 3, "uint64"),
            _field("datatype", 4, "uint32"),
            _field("is_historical", 5, "bool"),
            _field("is_transient", 6, "bool"),
            _field("is_null", 7, "bool"),
            _field("metadata", 8, "MetaData"),
            _field("properties", 9, "PropertySet"),
            _field("int_value", 10, "uint32", one=True),
            _field("long_value", 11, "uint64", one=True),
            _field("float_value", 12, "float", one=True),
            _field("double_value", 13, "double", one=True),
            _field("boolean_value", 14, "bool", one=True),
            _field("string_value", 15, "string", one=True),
            _field("bytes_value", 16, "bytes", one=True),
            one_of="value",
        ),
        _message("MetaData", _field("content_type", 2, "string"), _field("description", 8, "string")),
        _message(
            "PropertySet", _field("keys", 1, "string", "REPEATED"), _field("values", 2, "PropertyValue", "REPEATED")
        ),
        _message(
            "PropertyValue",
            _field("type", 1, "uint32"),
            _field("is_null", 2, "bool"),
            _field("int_value", 3, "uint32", one=True),
            _field("long_value", 4, "uint64", one=True),
            _field("float_value", 5, "float", one=True),
            _field("double_value", 6, "double", one=True),
            _field("boolean_value", 7, "bool", one=True),
            _field("string_value", 8, "string", one=True),
            one_of="value",
        ),
    ]
)

_pool = DescriptorPool()
_pool.Add(text_format.Parse(_FILE, FileDescriptorProto()))
ReferencePayload = GetMessageClass(_pool.FindMessageTypeByName("reference.Payload"))

DATA_TYPE = {"Int32": 3, "Int64": 4, "UInt64": 8, "Double": 10, "Boolean": 11, "String": 12}
"""6.4.16, Data Types."""


def decode(payload: bytes) -> dict:
    """The payload as JSON has it, field names as in the standard; fails on a field the standard does not have."""
    message = ReferencePayload.FromString(payload)
    for part in (message, *message.metrics, *(metric.properties for metric in message.metrics)):
        assert len(UnknownFieldSet(part)) == 0
    return json_format.MessageToDict(message, preserving_proto_field_name=True)
