"""The blueprint of the pages about batches; what they are is said in routes and beginnings."""

from flask import Blueprint

batches = Blueprint("batches", __name__)
