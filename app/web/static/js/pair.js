// The code comes behind the # of the address, which no server ever sees. It goes into its field, and out of the address.
const code = decodeURIComponent(location.hash.slice(1));
if (code) {
  document.getElementById("code").value = code;
  history.replaceState(null, "", location.pathname);
  document.getElementById("name").focus();
}
