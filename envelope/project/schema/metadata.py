"""What stands beside a field's type: how its value is read, and how it is described."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

Json = dict[str, Any]


class Read(ABC):
    """Base of the metadata: pydantic asks it for a plain validator and for its JSON Schema."""

    example: str

    @abstractmethod
    def read(self, value: object) -> object:
        """The value as the program holds it; ValueError for one that is not allowed."""

    @abstractmethod
    def described(self) -> Json:
        """Its JSON Schema."""

    def __get_pydantic_core_schema__(
        self, source: object, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> Json:
        return self.described()
