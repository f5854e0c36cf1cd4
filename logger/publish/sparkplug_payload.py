"""Sparkplug B payloads as protobuf messages: the part of the standard's definition that the cart uses.

Field numbers: Eclipse Sparkplug Specification 3.0.0, 6.4.1 (Google Protocol Buffer Schema), proto2. Fields that are not
listed are never sent, and are skipped by the library where one comes.
"""

from __future__ import annotations

from google.protobuf import descriptor_pb2, descriptor_pool, message_factory
from google.protobuf.message import DecodeError

__all__ = ["DecodeError", "Payload"]

_Field = descriptor_pb2.FieldDescriptorProto
_PACKAGE = "tarebook.sparkplug_b"
_SCALARS = {
    "uint32": _Field.TYPE_UINT32,
    "uint64": _Field.TYPE_UINT64,
    "double": _Field.TYPE_DOUBLE,
    "bool": _Field.TYPE_BOOL,
    "string": _Field.TYPE_STRING,
}
_MESSAGES = {
    "PropertyValue": "type:uint32=1 is_null:bool=2 |int_value:uint32=3 |long_value:uint64=4 |double_value:double=6 "
    "|boolean_value:bool=7 |string_value:string=8",
    "PropertySet": "*keys:string=1 *values:PropertyValue=2",
    "Metric": "name:string=1 alias:uint64=2 timestamp:uint64=3 datatype:uint32=4 is_null:bool=7 "
    "properties:PropertySet=9 |int_value:uint32=10 |long_value:uint64=11 |double_value:double=13 "
    "|boolean_value:bool=14 |string_value:string=15",
    "Payload": "timestamp:uint64=1 *metrics:Metric=2 seq:uint64=3",
}
"""Message → its fields as name:type=number; `*` repeated, `|` one of those named `value` together."""


def _payload_class() -> type:
    file = descriptor_pb2.FileDescriptorProto(name="tarebook/sparkplug_b.proto", package=_PACKAGE, syntax="proto2")
    for name, fields in _MESSAGES.items():
        message = file.message_type.add(name=name)
        if "|" in fields:
            message.oneof_decl.add(name="value")
        for field in fields.split():
            _add(message, field)
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return message_factory.GetMessageClass(pool.FindMessageTypeByName(f"{_PACKAGE}.Payload"))


def _add(message: descriptor_pb2.DescriptorProto, text: str) -> None:
    name, _, kind_and_number = text.lstrip("*|").partition(":")
    kind, _, number = kind_and_number.partition("=")
    field = message.field.add(name=name, number=int(number), label=_Field.LABEL_OPTIONAL)
    if kind in _SCALARS:
        field.type = _SCALARS[kind]
    else:
        field.type, field.type_name = _Field.TYPE_MESSAGE, f".{_PACKAGE}.{kind}"
    if text.startswith("*"):
        field.label = _Field.LABEL_REPEATED
    if text.startswith("|"):
        field.oneof_index = 0


Payload = _payload_class()
