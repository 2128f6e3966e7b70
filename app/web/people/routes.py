"""people"""

from flask import Blueprint

people = Blueprint("people", __name__)
